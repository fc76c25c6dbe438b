"""Rules: what must be true at the bench.

Frozen dataclasses and pure functions: stages, steps, gates, who may sign,
whether a pitch on record may serve. A rule answers with findings (note, ask,
stop), each one sentence for the bench. ``now`` is always handed in. No input
or output, no framework, no optics: numbers that need optics arrive computed.
"""
