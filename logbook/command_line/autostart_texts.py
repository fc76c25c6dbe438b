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
ExecStart="{python}" -m logbook serve --data "{data}"
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


def text(system: str, data: Path) -> str:
    """The file for systemd or launchd, with this Python and this data folder in it."""
    if system == "launchd":
        return _LAUNCHD.format(python=escape(sys.executable), data=escape(str(data))).rstrip()
    # "$" stands for itself in a program's path and for a variable in what follows it
    folder = _for_systemd(str(data)).replace("$", "$$")
    return _SYSTEMD.format(python=_for_systemd(sys.executable), data=folder).rstrip()


def _for_systemd(word: str) -> str:
    """Inside double quotes, where systemd reads backslashes as escapes and "%" as a specifier."""
    return word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
