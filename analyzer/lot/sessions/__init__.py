"""Where the recordings of a lot are, and which of them belong to one instrument."""
