"""Frets beside the 12th: the errors of saddle, nut and fretting stretch told apart."""
