"""From the frames of a lot to its summary, and what that holds."""
