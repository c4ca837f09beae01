"""Reads what the forms of a page would send as they stand there."""

from html.parser import HTMLParser


class TypedReader(HTMLParser):
    """Gathers the fields of all forms with their values; of boxes and lists what is chosen, of files nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.typed: list[tuple[str, str]] = []
        self.list_name = self.text_name = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        kind = given.get("type", "")
        if tag == "select":
            self.list_name = given["name"]
        elif tag == "textarea":
            self.text_name = given["name"]
            self.typed.append((self.text_name, ""))
        elif tag == "option" and "selected" in given:
            self.typed.append((self.list_name, given["value"]))
        elif tag == "input" and "name" in given and ("checked" in given or kind not in ("file", "radio", "checkbox")):
            self.typed.append((given["name"], given.get("value", "on")))

    def handle_data(self, data: str) -> None:
        if self.text_name:
            # The first line break of a text field is none of its text.
            self.typed[-1] = (self.text_name, data.removeprefix("\n"))

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.text_name = ""


def read_typed(page: str) -> list[tuple[str, str]]:
    reader = TypedReader()
    reader.feed(page)
    return reader.typed
