"""docs/codes.md: every code with its sentence, meaning and action, written from the texts in the program."""

from __future__ import annotations

from partscreen.results.codes import CodeTheme, code_themes

_HEAD = """# Codes

Results, notes and messages carry a code in capitals, so that programs and people can look it up. A code never
changes its meaning.
Here each has three lines: what is said with it, what it means, and what to do. The answer itself names part,
figure, limit and source.
`partscreen codes CODE` says the same in the terminal.

"Holds" means undecided: take the measurement that is named. "A remark" decides nothing.
"""


def codes_page() -> str:
    """The page as it should read today."""
    return "\n".join([_HEAD, *(_theme(theme) for theme in code_themes())]).rstrip() + "\n"


def _theme(theme: CodeTheme) -> str:
    more = ", ".join(f"[{link.split('#')[0].removesuffix('.md').replace('_', ' ')}]({link})" for link in theme.more)
    lines = [f"## {theme.title}", "", theme.where, "", f"More: {more}.", ""]
    for one in theme.codes:
        lines += [f"### `{one.code}`", "", one.says, "", f"- **Means:** {one.means}", f"- **To do:** {one.do}", ""]
    return "\n".join(lines)
