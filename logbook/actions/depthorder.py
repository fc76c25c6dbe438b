"""Depth the right way round: a sequence whose near things move the wrong way is named before anybody prints it."""

from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy.orm import Session

from logbook.actions.pictures import current, swap_order
from logbook.engine.depth import INSIDE_OUT, UNDECIDED, depth_order
from logbook.records.audit import Actor
from logbook.records.files import FileStore
from logbook.records.orders import Job

MOST_LOOKED_AT = 4
"""Pictures evenly chosen of a longer sequence: neighbours of a long one hardly differ."""


def is_inside_out(store: FileStore, job: Job) -> bool:
    """Whether near and far are exchanged; False for pictures without parallax, and for an up-down flip.

    With an up-down flip both eyes see the same picture, so that there is no depth to turn.
    """
    pictures = current(job)
    if job.flip != "left-right" or len(pictures) < 2:
        return False
    if not all(store.has(picture.preview.sha256) for picture in pictures):
        return False
    return _verdict(tuple(store.path(picture.preview.sha256) for picture in pictures)) == INSIDE_OUT


@lru_cache(maxsize=64)
def _verdict(previews: tuple[Path, ...]) -> str:
    """Kept previews never change, so neither does this."""
    chosen = sorted({round(at) for at in np.linspace(0, len(previews) - 1, min(len(previews), MOST_LOOKED_AT))})
    looked: list[np.ndarray] = []
    for at in chosen:
        with Image.open(previews[at]) as image:
            looked.append(np.asarray(image.convert("L")))
    return depth_order(looked).verdict if len({one.shape for one in looked}) == 1 else UNDECIDED


def turn_round(session: Session, by: Actor, *, job: Job) -> None:
    """The last picture first: what stood near stands near again."""
    swap_order(session, by, job=job, codes=[picture.code for picture in current(job)][::-1])
