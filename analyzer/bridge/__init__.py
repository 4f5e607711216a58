"""From the strings' errors to what to do at the bridge, and from what it did to what to do next."""
