"""What each command does: a module is loaded when one of its commands was typed."""
