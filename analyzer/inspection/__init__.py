"""One recording, with all that its figure rests on, for whoever doubts it."""
