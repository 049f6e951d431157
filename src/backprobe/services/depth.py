"""How far a search goes before it answers."""

from enum import StrEnum


class Depth(StrEnum):
    """From the first look to all that there is.

    GLANCE : what was near before, or what the bank suggests, fitted to the readings and weighed by
        Laplace's evidence; nothing is sampled.
    QUICK : goes on from the answer before, else without the widest part of a search.
    WHOLE : from the start, whatever was known before.
    """

    GLANCE = "glance"
    QUICK = "quick"
    WHOLE = "whole"
