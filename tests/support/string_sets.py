"""An instrument file and a set of strings to come, invented."""

from __future__ import annotations

NOW = """
[instrument]
name = "Bench six"
scale_length_mm = 647.7
tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]

[bridge]
saddles = [[6], [5], [4], [3], [2], [1]]
thread = "M3"
screw_head = "tail"
travel_mm = [4.0, 6.0]

[[strings]]
string = 6
diameter_mm = 1.067
core_diameter_mm = 0.41
material = "steel"
mass_per_length_g_per_m = 5.7

[[strings]]
string = 3
diameter_mm = 0.432
material = "steel"
"""
NEXT = """
[[strings]]
string = 6
diameter_mm = 1.168
core_diameter_mm = 0.45
material = "steel"
mass_per_length_g_per_m = 6.9

[[strings]]
string = 3
diameter_mm = 0.483
material = "steel"
"""
# The lowest string of [AB24]'s normal-tension nylon set (``compensation_tables``).
HEAD = """
[instrument]
scale_length_mm = 650
tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]
"""
SIXTH = """
[[strings]]
string = 6
diameter_mm = 1.092
material = "nylon"
mass_per_length_g_per_m = 5.470
tension_n = 62.8
stretch_response = 28.6
stretch_response_uncertainty = 0.8
height_at_fret_1_mm = 1.22
height_at_fret_12_mm = 3.0
"""
