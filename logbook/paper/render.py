"""One way from a template to HTML, and the files that every paper leans on.

The web shows the very same HTML: ``address`` turns the name of a stylesheet, a
sign or a picture into the link that the reader can follow. For the PDF writer
that is ``asset:NAME``.
"""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from logbook import resources
from logbook.paper import codes, drawings
from logbook.paper.shelf import signs
from logbook.refusals import Refused

Address = Callable[[str], str]
PAGES = ("A4", "Letter", "label")
_KINDS = {"css": "text/css; charset=utf-8", "svg": "image/svg+xml"}


def asset_address(name: str) -> str:
    """The link by which the PDF writer finds an asset it was handed."""
    return f"asset:{name}"


@lru_cache(maxsize=1)
def shipped_assets() -> Mapping[str, bytes]:
    """Stylesheets and sign drawings by name: what every paper may link to."""
    styles = {path.name: path.read_bytes() for path in (resources.folder("templates") / "paper").glob("*.css")}
    return styles | {f"{code}.svg": sign.svg.encode() for code, sign in signs().items()}


def media_type(name: str) -> str:
    """The media type of a shipped asset, for whoever serves it."""
    return _KINDS[name.rpartition(".")[2]]


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(resources.folder("templates") / "paper"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )
    environment.globals.update(qr=codes.qr, serves_here_only=codes.serves_here_only, drawings=drawings)
    return environment


def render(template: str, *, title: str, page: str = "A4", address: Address = asset_address, **values: Any) -> str:
    """The HTML of one paper; ``page`` is A4 or Letter.

    Raises Refused for another page size. A name that the template uses and
    nobody gave is a programming error and raises jinja2.UndefinedError.
    """
    if page not in PAGES:
        raise Refused(f"The page is A4 or Letter, not {page!r}.", field="page")
    return _environment().get_template(template).render(title=title, page=page, address=address, **values)
