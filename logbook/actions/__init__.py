"""Actions: one function for each thing the shop does.

An action takes the database session first, joins rules, records and engine,
writes exactly one audit entry that lists every object it touched, and never
commits. It knows no form, no request and no queue.
"""
