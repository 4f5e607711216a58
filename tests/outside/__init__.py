"""A package, so that its conftest.py does not stand in the way of tests/conftest.py by its name."""
