"""The commands, one file a family; each parses, calls and prints."""
