"""A second reading of iCalendar, written from RFC 5545 and RFC 5546 alone and sharing no code with what writes it.

``list_faults`` returns each rule that a text breaks, by its section number.
"""

import re
from collections import Counter
from dataclasses import dataclass, field

UTC_FORM = re.compile(r"\d{8}T\d{6}Z")
LINE = re.compile(
    r'(?P<name>[A-Za-z0-9-]+)(?P<params>(?:;[A-Za-z0-9-]+=(?:"[^"\x00-\x08]*"|[^";:,\x00-\x08]*))*):(?P<value>.*)'
)
# RFC 5546: property, how often at least and at most. What stands in none of the lists may stand there or not.
ONCE = (1, 1)
AT_MOST_ONCE = (0, 1)
NEVER = (0, 0)
OFTEN = (1, 99)
COMMON = dict.fromkeys(
    ("CREATED", "DESCRIPTION", "DTEND", "LAST-MODIFIED", "LOCATION", "STATUS", "TRANSP", "URL", "DURATION"),
    AT_MOST_ONCE,
)
TABLES = {
    # RFC 5546 section 3.2.1
    "PUBLISH": COMMON
    | dict.fromkeys(("DTSTAMP", "DTSTART", "ORGANIZER", "SUMMARY", "UID"), ONCE)
    | {"SEQUENCE": AT_MOST_ONCE, "ATTENDEE": NEVER, "REQUEST-STATUS": NEVER},
    # RFC 5546 section 3.2.2
    "REQUEST": COMMON
    | dict.fromkeys(("DTSTAMP", "DTSTART", "ORGANIZER", "SUMMARY", "UID"), ONCE)
    | {"SEQUENCE": AT_MOST_ONCE, "ATTENDEE": OFTEN},
    # RFC 5546 section 3.2.5
    "CANCEL": COMMON
    | dict.fromkeys(("DTSTAMP", "ORGANIZER", "SEQUENCE", "UID"), ONCE)
    | {"DTSTART": AT_MOST_ONCE, "SUMMARY": AT_MOST_ONCE, "REQUEST-STATUS": NEVER, "VALARM": NEVER},
    # RFC 5545 section 3.6.1, where no METHOD is stated
    "": COMMON | dict.fromkeys(("DTSTAMP", "DTSTART", "UID"), ONCE) | {"SUMMARY": AT_MOST_ONCE},
}
STATUSES = {"PUBLISH": {"TENTATIVE", "CONFIRMED", "CANCELLED"}, "REQUEST": {"TENTATIVE", "CONFIRMED"}}
STATUSES |= {"CANCEL": {"CANCELLED"}, "": STATUSES["PUBLISH"]}


@dataclass
class Part:
    """A component: what is called VEVENT or the like, with its properties and the components in it."""

    name: str
    properties: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    parts: list["Part"] = field(default_factory=list)

    def get(self, name: str) -> str | None:
        return next((value for known, _, value in self.properties if known == name), None)

    def params(self, name: str) -> dict[str, str]:
        return next(params for known, params, _ in self.properties if known == name)


def unfold(text: str) -> list[str]:
    """Return the content lines: a line break with one blank or tab after it stands for nothing (3.1)."""
    return re.sub(r"\r\n[ \t]", "", text).removesuffix("\r\n").split("\r\n")


def unescape(value: str) -> str:
    """Return what a TEXT says (3.3.11)."""
    return re.sub(r"\\([\\;,nN])", lambda found: "\n" if found[1] in "nN" else found[1], value)


def read(text: str) -> Part:
    """Return the calendar in a text."""
    top = Part("")
    open_parts = [top]
    for line in unfold(text):
        found = LINE.fullmatch(line)
        if found is None:
            raise ValueError(f"3.1: no content line: {line!r}")
        name, value = found["name"].upper(), found["value"]
        if name == "BEGIN":
            part = Part(value)
            open_parts[-1].parts.append(part)
            open_parts.append(part)
        elif name == "END":
            if open_parts.pop().name != value:
                raise ValueError(f"3.4: {value} ends what it did not begin")
        else:
            given = re.findall(r';([^=;]+)=("[^"]*"|[^;]*)', found["params"])
            open_parts[-1].properties.append((name, {key: text.strip('"') for key, text in given}, value))
    if len(open_parts) != 1 or len(top.parts) != 1:
        raise ValueError("3.4: not one calendar from BEGIN to END")
    return top.parts[0]


def list_faults(text: str) -> list[str]:
    """Return what is wrong with a calendar, each with the section of the rule."""
    faults = []
    for line in text.split("\r\n"):
        if len(line.encode()) > 75:
            faults.append(f"5545 3.1: {len(line.encode())} octets in a line")
        if "\n" in line or "\r" in line:
            faults.append("5545 3.1: a line break that is not CRLF")
    if not text.endswith("\r\n"):
        faults.append("5545 3.1: the last line does not end")
    if any((ord(sign) < 32 and sign not in "\r\n\t") or sign == "\x7f" for sign in text):
        faults.append("5545 3.1: a control character")
    try:
        calendar = read(text)
    except ValueError as error:
        return [*faults, f"5545 {error}"]
    counted = Counter(name for name, _, _ in calendar.properties)
    faults += [
        f"5545 3.6: {name} stands there {counted[name]} times" for name in ("PRODID", "VERSION") if counted[name] != 1
    ]
    if counted["METHOD"] > 1:
        faults.append("5545 3.6: METHOD twice")
    if not calendar.parts:
        faults.append("5545 3.6: no component")
    method = calendar.get("METHOD") or ""
    if method not in TABLES:
        return [*faults, f"5546 1.4: METHOD {method}"]
    for event in (part for part in calendar.parts if part.name == "VEVENT"):
        faults += _list_faults_of_event(event, method)
    return faults


def _list_faults_of_event(event: Part, method: str) -> list[str]:
    faults = []
    counted = Counter([name for name, _, _ in event.properties] + [part.name for part in event.parts])
    for name, (least, most) in TABLES[method].items():
        if not least <= counted[name] <= most:
            faults.append(f"5546 3.2 {method}: {name} stands there {counted[name]} times")
    if counted["DTEND"] and counted["DURATION"]:
        faults.append("5545 3.6.1: DTEND and DURATION")
    if event.get("STATUS") not in {None, *STATUSES[method]}:
        faults.append(f"5546 3.2 {method}: STATUS {event.get('STATUS')}")
    sequence = event.get("SEQUENCE")
    if sequence is not None and not sequence.isdecimal():
        faults.append(f"5545 3.8.7.4: SEQUENCE {sequence}")
    for name in ("DTSTAMP", "CREATED", "LAST-MODIFIED"):
        value = event.get(name)
        if value is not None and not UTC_FORM.fullmatch(value):
            faults.append(f"5545 3.8.7: {name} {value} is not in UTC")
    start, end = event.get("DTSTART"), event.get("DTEND")
    if start and end and UTC_FORM.fullmatch(start) and end <= start:
        faults.append("5545 3.8.2.2: DTEND is not after DTSTART")
    for name in ("ORGANIZER", "ATTENDEE"):
        value = event.get(name)
        if value is not None and not re.fullmatch(r"(?i)mailto:[^\s@]+@[^\s@]+", value):
            faults.append(f"5545 3.3.3: {name} {value}")
    for name in ("SUMMARY", "LOCATION", "DESCRIPTION"):
        if re.search(r"(?<!\\)(?:\\\\)*[;,]|\\(?![\\;,nN])(?<!\\\\)", event.get(name) or ""):
            faults.append(f"5545 3.3.11: {name} is not escaped")
    for alarm in (part for part in event.parts if part.name == "VALARM"):
        wanted = {"ACTION", "TRIGGER", "DESCRIPTION"} if alarm.get("ACTION") == "DISPLAY" else {"ACTION", "TRIGGER"}
        if missing := wanted - {name for name, _, _ in alarm.properties}:
            faults.append(f"5545 3.6.6: alarm without {sorted(missing)}")
    return faults
