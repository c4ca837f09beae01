"""What an import came to, in numbers that always add up."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ImportReport:
    """Rows read are rows with anything in them, without the headings. The three parts always sum to them.

    Attributes:
        rejects_path: where the rejected rows lie, empty where nothing was rejected or written.
        rejects_kept: a rejects file that was there with other content and was left as it is.
        sheet: the sheet that was read, where the workbook has several.
    """

    rows_read: int
    accepted: int
    rejected: int
    already_known: int
    vehicles_added: int = 0
    treatments_added: int = 0
    treatments_amended: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    notes: dict[str, int] = field(default_factory=dict)
    rejects_path: str = ""
    rejects_kept: str = ""
    sheet: str = ""
    unread_headings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        parts = self.accepted + self.rejected + self.already_known
        if parts != self.rows_read:
            raise AssertionError(f"{parts} rows accounted for of {self.rows_read} read: a mistake in the import.")
