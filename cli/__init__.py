"""The command line. It reads options, calls the library and prints; it computes nothing."""
