"""A plugin for altered programs: that something fails is enough, nobody reads how simply it can fail."""

import hypothesis
from hypothesis import Phase


def pytest_sessionstart() -> None:
    """Few examples, the same each time, none made smaller; after the tests' own wishes, which come earlier."""
    hypothesis.settings.register_profile(
        "altered", phases=[Phase.explicit, Phase.generate], max_examples=25,
        derandomize=True, database=None, deadline=None,
    )  # fmt: skip
    hypothesis.settings.load_profile("altered")
