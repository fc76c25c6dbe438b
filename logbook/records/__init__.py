"""Records: what is remembered.

Tables, constraints, read queries, the append-only audit trail, kept files and
migrations. Only ``database.writing()`` commits. Knows neither the web nor the
engine nor the rules.
"""
