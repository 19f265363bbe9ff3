"""Washing fixer out of silver-gelatin prints, simulated. Import modules: ``washsim.solve``, ..."""

__version__ = "0.1.0"
