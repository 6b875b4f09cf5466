"""An invented fleet with its own forward physics, written as the files a user would have."""
