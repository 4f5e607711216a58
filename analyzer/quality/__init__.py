"""How good a recording is: used, used with a caution that widens its interval, or rejected."""
