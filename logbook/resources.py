"""Where shipped files lie: inside the installed package, or beside it in a checkout."""

from pathlib import Path

_PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """The shipped folder ``templates`` or ``safety``.

    Raises FileNotFoundError when neither place has it: the installation is broken.
    """
    for place in (_PACKAGE / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the shipped folder {name!r} is missing from this installation")
