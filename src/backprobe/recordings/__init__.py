"""Captures of an oscilloscope and logs of the control unit: from files to arrays and back."""
