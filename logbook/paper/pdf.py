"""From a paper's HTML to PDF bytes; the writer sees only the assets it is handed."""

from collections.abc import Mapping
from typing import Any

from logbook.paper.render import media_type, shipped_assets
from logbook.refusals import Refused

PANGO_MISSING = (
    "PDF paper needs the Pango library, which is not on this machine. Debian and Ubuntu: apt-get install "
    "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core. macOS: brew install pango. "
    "The same paper can be printed from the browser meanwhile."
)
_DUMMY_BASE = "asset:"
_PICTURES = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG": "image/png"}


def pdf_bytes(html: str, assets: Mapping[str, bytes] | None = None) -> bytes:
    """The paper as PDF; ``assets`` are pictures by the names used in the HTML.

    Raises Refused where Pango is missing, and where the HTML asks for anything
    that was not handed over: no file is read and no network is used.
    """
    weasyprint, errors = _weasyprint()
    fetcher = _fetcher(weasyprint, errors, dict(shipped_assets()) | dict(assets or {}))
    try:
        document = weasyprint.HTML(string=html, base_url=_DUMMY_BASE, url_fetcher=fetcher, media_type="print")
        return document.write_pdf(presentational_hints=False)  # type: ignore[no-any-return]
    except errors.FatalURLFetchingError as error:
        raise Refused(f"The paper asks for something it was not handed: {error}.") from error


def _weasyprint() -> tuple[Any, Any]:
    try:
        import weasyprint
        import weasyprint.urls
    except OSError as error:
        raise Refused(PANGO_MISSING) from error
    return weasyprint, weasyprint.urls


def _fetcher(weasyprint: Any, errors: Any, assets: Mapping[str, bytes]) -> Any:
    class _Handed(weasyprint.urls.URLFetcher):
        def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> Any:
            scheme, _, name = url.partition(":")
            if scheme != "asset" or name not in assets:
                raise errors.FatalURLFetchingError(url[:200])
            return errors.URLFetcherResponse(url, assets[name], {"Content-Type": _type_of(name, assets[name])})

    return _Handed(allowed_protocols=[])


def _type_of(name: str, content: bytes) -> str:
    for start, kind in _PICTURES.items():
        if content.startswith(start):
            return kind
    return media_type(name)
