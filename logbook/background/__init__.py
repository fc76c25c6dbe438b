"""Background: when long work runs.

Claim (short transaction), compute (no transaction open), record (short
transaction). The run's row is the truth, the queue is only a bell. No rules of
its own.
"""
