"""Statistics of a lot: pure functions of arrays and frames, each result naming its method.

Values come in any one unit (cents for errors and drifts), and what comes out is in that unit.
Where a number cannot honestly be had, a reason stands in its place.
"""
