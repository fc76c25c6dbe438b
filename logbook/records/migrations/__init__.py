"""Alembic's folder: the environment and one file for each step of the schema."""
