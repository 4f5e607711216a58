"""Sound files: which there are, what their names and tables say, and how they are read."""
