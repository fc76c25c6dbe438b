"""Loads the demo: an invented workshop on an ordinary day. Loading it again changes nothing.

python demo/scenario.py --data FOLDER
"""

import argparse
import sys
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import measuring
import quoting
import workshop
from benchwork import Plan
from pictures import FOX, HARBOUR, KITE, LIGHTHOUSE, MOONS, WATCH
from tellings import Telling, decide, half_done
from workshop import OPERATOR, OWNER, PASSWORDS, VIEWER, Diary

from logbook.records.opened import DEMO_MARK, open_shop
from logbook.settings import Settings

LANDSCAPE = (100, 80)
PLANS = {
    "gone": Plan("Bluefin Books", "Lighthouse", LIGHTHOUSE, "pack", due_in=-9, price="48.00", hours_ago=220),
    "copies": Plan(
        "Tidewater Museum",
        "Moon over the hills",
        MOONS,
        "pack",
        lens="R60-0912",
        quantity=5,
        due_in=2,
        price="19.50",
        results={2: "failed"},
    ),
    "conceded": Plan("Madame Orel", "Kite", KITE, "inspect", flip="up-down", due_in=1, results={0: "failed"}),
    "withdrawn": Plan("Tidewater Museum", "Moon, small", MOONS[:2], "dwell", lens="R60-0877", due_in=4),
    "asked": Plan("Café Sextant", "Harbour, menu", HARBOUR, "proof", size=LANDSCAPE, due_in=12),
    "change": Plan(
        "Nils Okafor", "Kite for Ada", KITE, "answer", answer="change", words="Could the kite be larger?", due_in=10
    ),
    "no pitch": Plan("Café Sextant", "Moon, menu", MOONS[:2], "answer", lens="R60-0912", due_in=11),
    "sample": Plan("Harbour Trust", "Lighthouse, sample", LIGHTHOUSE, "accept", sample=True, nominal=True, due_in=14),
    "sample at work": Plan(
        "Old Mill Hotel", "Watch, sample", WATCH, "ask", sample=True, nominal=True, due_in=13, hours_ago=0
    ),
    "reorder": Plan(
        "Bluefin Books",
        "Lighthouse",
        LIGHTHOUSE,
        "accept",
        again=True,
        quantity=2,
        due_in=8,
        note="As before, two this time.",
    ),
    "drying": Plan("Orchard School", "Fox, entrance", FOX, "print", due_in=6),
    "adhesive": Plan("Orchard School", "Lighthouse, library", LIGHTHOUSE, "dry", due_in=5),
    "lens": Plan("Nils Okafor", "Moon for Ada", MOONS[:2], "adhesive", lens="R60-0912", due_in=5),
    "resting": Plan("Harbour Trust", "Harbour in the morning", HARBOUR, "laminate", size=LANDSCAPE, due_in=4),
    "trim": Plan("Madame Orel", "Grandfather's watch", WATCH, "dwell", due_in=3),
    "inspect": Plan("Tidewater Museum", "Moon, shop", MOONS, "trim", lens="R60-0912", due_in=2),
    "half done": Plan("Old Mill Hotel", "Fox, reception", FOX[::-1], "order", due_in=7),
    "own": Plan("", "Kite for the window", KITE, "order", due_in=30),
}


def load(data: Path) -> bool:
    """Load the workshop into a folder; False when it was there already. A real shop's folder is refused."""
    settings = Settings(data=data.absolute())
    mark = data / DEMO_MARK
    if settings.database_path.exists():
        if not mark.exists():
            sys.exit(f"{data} holds a real shop; the demo never shares its folder. Name another with --data.")
        if mark.read_text(encoding="ascii").strip() == "loaded":
            return False
        sys.exit(f"{data} holds a demo that was not loaded to its end; delete that folder and start again.")
    data.mkdir(parents=True, exist_ok=True)
    mark.write_text("loading\n", encoding="ascii")
    shop = open_shop(settings)
    _tell(Diary(shop, workshop.today()))
    shop.database.close()
    mark.write_text("loaded\n", encoding="ascii")
    return True


def _tell(diary: Diary) -> None:
    workshop.found(diary)
    measuring.pitches(diary)
    told = {name: Telling(diary, plan) for name, plan in PLANS.items()}
    for telling in told.values():
        telling.tell()
    ends = diary.now - timedelta(hours=1)
    decide(
        diary,
        told["copies"],
        told["copies"].start + timedelta(hours=75),
        "replace",
        "diagonal bands: skew at the rollers",
        cause="L1",
    )
    word = "On the telephone: leave it as it is, it hangs high up."
    why = "a faint ghost in the lower third; the customer has seen it"
    decide(diary, told["conceded"], ends, "concession", why, cause="E2", word=word)
    half_done(diary, told["half done"], "trim")
    quoting.quoted(diary)
    measuring.withdraw(diary, ends + timedelta(minutes=5))
    diary.act(
        diary.now,
        OPERATOR,
        lambda session, by: workshop.check(session, by, diary.shop.settings.own_safety_path, "Rosa"),
    )
    diary.play()


def main() -> None:
    """Load, and say how to sign in."""
    parser = argparse.ArgumentParser(description="Load the demo scenario.")
    parser.add_argument("--data", type=Path, required=True)
    if load(parser.parse_args().data):
        print("The demo workshop is loaded; everybody and everything in it is invented.")
    for name, role in ((OWNER, "owner"), (OPERATOR, "operator"), (VIEWER, "viewer")):
        print(f"Sign in as {name} ({role}), password {PASSWORDS[name]}")


if __name__ == "__main__":
    main()
