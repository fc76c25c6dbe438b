"""The texts that start the logbook when the machine starts."""

import sys
from pathlib import Path
from xml.sax.saxutils import escape

_SYSTEMD = """\
# Save as ~/.config/systemd/user/bench-logbook.service, then:
#   systemctl --user enable --now bench-logbook
#   loginctl enable-linger   (so that it runs before anybody signs in)
[Unit]
Description=Lens Bench Logbook

[Service]
{server}ExecStart="{python}" -m logbook serve --data "{data}"
Restart=on-failure

[Install]
WantedBy=default.target
"""

_LAUNCHD = """\
<?xml version="1.0" encoding="UTF-8"?>
<!-- Save as ~/Library/LaunchAgents/local.bench-logbook.plist, then:
     launchctl load -w ~/Library/LaunchAgents/local.bench-logbook.plist -->
<plist version="1.0">
<dict>
  <key>Label</key><string>local.bench-logbook</string>
  <key>ProgramArguments</key>
  <array>
    <string>{python}</string><string>-m</string><string>logbook</string>
    <string>serve</string><string>--data</string><string>{data}</string>
  </array>
  <key>RunAtLoad</key><true/>
  <key>KeepAlive</key><true/>
</dict>
</plist>
"""


_SERVER = """\
# A service does not see what your shell knows. Write LOGBOOK_DATABASE=postgresql://... into this file and let nobody
# else read it (chmod 600):
EnvironmentFile=%h/.config/bench-logbook.environment
"""
_SERVER_LAUNCHD = """\
<!-- A service does not see what your shell knows: before RunAtLoad write LOGBOOK_DATABASE and its address into a
     dictionary under the key EnvironmentVariables, and let nobody else read this file (chmod 600). -->
"""


def text(system: str, data: Path, *, on_server: bool = False) -> str:
    """The file for systemd or launchd, with this Python and this data folder in it; no address of a database."""
    if system == "launchd":
        made = _LAUNCHD.format(python=escape(sys.executable), data=escape(str(data))).rstrip()
        return made.replace("<plist ", f"{_SERVER_LAUNCHD}<plist ") if on_server else made
    # "$" stands for itself in a program's path and for a variable in what follows it
    folder = _for_systemd(str(data)).replace("$", "$$")
    server = _SERVER if on_server else ""
    return _SYSTEMD.format(server=server, python=_for_systemd(sys.executable), data=folder).rstrip()


def _for_systemd(word: str) -> str:
    """Inside double quotes, where systemd reads backslashes as escapes and "%" as a specifier."""
    return word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
