"""Engine: optics and pixels.

Numbers, arrays and frozen dataclasses go in and come out. Physical arguments
are keyword-only and carry their unit in the name (``thickness_mm=``). Knows no
web framework, no database, no queue, no clock and no environment. Files are
read by ``headers``, ``sources`` and ``readback``, written by ``rasterfile``
(``pixelstore``: an unnamed temporary one), and touched nowhere else.
"""
