"""Checks a page against the rules of WCAG 2.2 AA that a program can check, by axe-core."""

from typing import Any

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Page

WCAG_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
_AXE = AXE_FILE_PATH.read_text(encoding="utf-8")
_RUN = "options => axe.run(document, {runOnly: options, resultTypes: ['violations']}).then(found => found.violations)"


def assert_no_violations(page: Page, *, tags: list[str] = WCAG_TAGS, where: str = "") -> None:
    """Fail with each broken rule and the elements that break it.

    Args:
        tags: which rules; those of axe-core, or names of rules.
        where: what is being looked at, for the message.
    """
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(_AXE)
    kind = "tag" if set(tags) <= {*WCAG_TAGS, "best-practice"} else "rule"
    violations = page.evaluate(_RUN, {"type": kind, "values": tags})
    assert not violations, "\n".join([f"{where or page.url}:", *(_tell(violation) for violation in violations)])


def _tell(violation: dict[str, Any]) -> str:
    nodes = "\n".join(f"    {node['html'][:160]}\n      {node['failureSummary']}" for node in violation["nodes"][:5])
    return f"  {violation['id']} ({violation['impact']}): {violation['help']}\n{nodes}"
