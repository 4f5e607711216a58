"""One take of the whole instrument: where its plucks are, and which string and fret each is."""
