"""Twelve kinds of tampering with a trail, by somebody who does not ask the program; and the entry that is bad then."""

import sqlite3
from contextlib import closing

import psycopg

from logbook.records.database import Database

KINDS = {
    "content changed": "UPDATE audit_entry SET body = replace(body, '\"seq\":{n}', '\"seq\":{n}0') WHERE id = {n}",
    "action changed": "UPDATE audit_entry SET action = 'x' WHERE id = {n}",
    "name changed": "UPDATE audit_entry SET actor_name = 'Nobody' WHERE id = {n}",
    "time changed": "UPDATE audit_entry SET at = '2026-01-01T00:00:00.000000+00:00' WHERE id = {n}",
    "hash changed": "UPDATE audit_entry SET entry_hash = '" + "a" * 64 + "' WHERE id = {n}",
    "entry removed": "DELETE FROM audit_object WHERE entry_id = {n}; DELETE FROM audit_entry WHERE id = {n}",
    "tail cut": "DELETE FROM audit_object WHERE entry_id >= {n}; DELETE FROM audit_entry WHERE id >= {n}",
    "entries changed places": (
        "UPDATE audit_entry SET id = 900000 WHERE id = {n}; UPDATE audit_entry SET id = {n} WHERE id = {n} + 1;"
        "UPDATE audit_entry SET id = {n} + 1 WHERE id = 900000"
    ),
    "entry slipped in": (
        "INSERT INTO audit_entry (previous_hash, entry_hash, at, action, actor_name, body) "
        "SELECT entry_hash, CASE substr(entry_hash, 1, 1) WHEN 'b' THEN 'c' ELSE 'b' END || substr(entry_hash, 2), "
        "at, 'slipped in', 'Olga', body FROM audit_entry "
        "ORDER BY id DESC LIMIT 1"
    ),
    "object removed": "DELETE FROM audit_object WHERE entry_id = {n}",
    "object added": "INSERT INTO audit_object (entry_id, ref) VALUES ({n}, 'job:FORGED22')",
    "reason slipped in": "UPDATE audit_entry SET reason = coalesce(reason, '') || ' as agreed' WHERE id = {n}",
}
"""SQL by kind; ``{n}`` is the entry that is spoiled and must be named, except for what is slipped in at the end."""


def tamper(database: Database, kind: str, number: int) -> None:
    """Spoil a trail, its triggers taken away first."""
    spoil(database, *KINDS[kind].format(n=number).split(";"))


def spoil(database: Database, *statements: str) -> None:
    """Change a database as somebody would who does not ask the program: no trigger and no reference is in the way."""
    if database.path is None:
        with psycopg.connect(str(database.place)) as server:
            server.execute("SET session_replication_role = replica")
            for statement in statements:
                server.execute(statement)
        return
    with closing(sqlite3.connect(database.path)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'audit_%'")
        for (name,) in triggers.fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.executescript(statement)


def told(database: Database, query: str) -> list[tuple]:
    """What is there, asked past the program."""
    if database.path is None:
        with psycopg.connect(str(database.place)) as server:
            return server.execute(query).fetchall()
    with closing(sqlite3.connect(database.path)) as connection:
        return connection.execute(query).fetchall()
