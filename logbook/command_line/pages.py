"""One more process that answers, started by ``logbook serve`` and ended with it: no command of its own.

``python -m logbook.command_line.pages FOLDER LISTENER COMMON NETWORK``: two descriptors that it inherits, and the
address in the shop's network or nothing.
"""

import socket
import sys
import threading
from pathlib import Path

from logbook.background.supervise import end_with_parent
from logbook.command_line.serving import answer, listen_beside, quieten
from logbook.command_line.shop import sound
from logbook.settings import Settings


def main(data: str, listener: str, common: str, network: str) -> None:
    """Answer beside the first process until that one is gone."""
    threading.Thread(target=end_with_parent, daemon=True).start()
    quieten()
    shop, beside = sound(Settings(data=Path(data))), socket.socket(fileno=int(listener))
    answer(shop, listen_beside(beside), int(common), network or None, checks=False)


if __name__ == "__main__":
    main(*sys.argv[1:])
