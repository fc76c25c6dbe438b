"""The measuring of sizes, checked on pieces counted by hand."""

from support.sizes import describe_sizes, function_lengths, share_within

SOURCE = '''\
def one(): ...


class Holder:
    def three(self):
        """Say so.

        At length.
        """
        first = 1
        return first

    async def two(self):
        return 2
'''


def test_a_docstring_does_not_count_as_length():
    assert sorted(function_lengths(SOURCE)) == [1, 2, 3]


def test_the_share_within_a_limit_counts_the_limit_itself():
    assert share_within([34, 35, 36, 37], 35) == 50


def test_nothing_at_all_is_within_every_limit():
    assert share_within([], 35) == 100


def test_the_summary_names_functions_files_and_templates(tmp_path):
    (tmp_path / "logbook").mkdir()
    (tmp_path / "logbook" / "a.py").write_text(SOURCE)
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "long.html").write_text("<br>\n" * 81)
    summary = describe_sizes(tmp_path)
    assert "3 functions, median 2 lines" in summary
    assert "1 files, 100.0 % within 300; 1 templates, 0.0 % within 80" in summary
