"""The start at any temperature: the loop solved, and the coldest start that follows from it."""
