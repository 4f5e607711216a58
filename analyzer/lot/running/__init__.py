"""Sessions measured by workers, each stored as it ends."""
