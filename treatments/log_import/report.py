"""What an import came to, in numbers that always add up."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ImportReport:
    """Rows read are rows with anything in them, without the headings. The three parts always sum to them."""

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
    unread_headings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        parts = self.accepted + self.rejected + self.already_known
        if parts != self.rows_read:
            raise AssertionError(f"{parts} rows accounted for of {self.rows_read} read: a mistake in the import.")
