"""Captures of an oscilloscope and logs of the control unit: from files to arrays and back.

Captures, whatever kind of file they are in:

- ``reading.read_capture(path, mapping=None, ...)`` gives a `Capture`; the content tells the kind.
- ``delimited_guess.guess_mapping(path)`` guesses the columns of a text and shows the first rows;
  ``delimited_mapping.to_toml`` and ``from_toml`` keep a mapping that a user has corrected.
- ``stored_writer.store_capture(source, path, options, progress)`` brings a recording of any length
  into a stored capture, block by block; ``write_parquet`` does so with a capture in memory.
- ``stored.StoredCapture.open(path)`` gives samples, extremes and lines of any stretch at once.
- ``mdf.write_mdf`` writes ASAM MDF 4.
"""
