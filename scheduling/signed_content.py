"""What is signed off in this app, and what is not; see ``treatments.event_log.signed_content``."""

from django.db.models import Q

from scheduling.enums import CoverChangeKind
from treatments.event_log.signed_content import Later, RowKey, SignedTable

SIGNED = [
    SignedTable(
        "terms_version",
        "scheduling.TermsVersion",
        signed_off_by={"terms.published": RowKey("pk")},
        signed=Q(published_at__isnull=False),
        stands="OLD.published_at IS NOT NULL",
        says="published terms can not be changed; publish a new version",
    ),
    SignedTable(
        "cover",
        "scheduling.Cover",
        signed_off_by={"cover.registered": RowKey("pk")},
        stands="1 = 1",
        says="a sold cover is only changed by what is written beside it",
        later={
            "terms": Later(
                ("terms_version_id",),
                {f"cover.{CoverChangeKind.TERMS_MOVED}": RowKey("pk")},
                once="EXISTS (SELECT 1 FROM scheduling_coverchange c WHERE c.cover_id = NEW.id "
                f"AND c.kind = '{CoverChangeKind.TERMS_MOVED}' AND c.from_version_id = OLD.terms_version_id "
                "AND c.to_version_id = NEW.terms_version_id)",
            ),
            "end": Later(
                ("ended_on",),
                {f"cover.{kind}": RowKey("pk") for kind in (CoverChangeKind.ENDED, CoverChangeKind.END_TAKEN_BACK)},
                # As the last change says that ended the cover or took its end back.
                once="EXISTS (SELECT 1 FROM scheduling_coverchange c WHERE c.id = (SELECT max(last.id) "
                "FROM scheduling_coverchange last WHERE last.cover_id = NEW.id "
                f"AND last.kind IN ('{CoverChangeKind.ENDED}', '{CoverChangeKind.END_TAKEN_BACK}')) "
                f"AND ((c.kind = '{CoverChangeKind.ENDED}' AND OLD.ended_on IS NULL AND c.day = NEW.ended_on) "
                f"OR (c.kind = '{CoverChangeKind.END_TAKEN_BACK}' AND NEW.ended_on IS NULL)))",
                words={"end_reason": "(erased)"},
            ),
        },
    ),
    SignedTable(
        "cover_change",
        "scheduling.CoverChange",
        signed_off_by={f"cover.{kind}": RowKey("pk", "change") for kind in CoverChangeKind},
        stands="1 = 1",
        says="a change to a cover stays as it was written down",
        words={"reason": "(erased)"},
    ),
]

NOT_SIGNED = {
    "scheduling.Absence": "the shop's own set-up; each change is an event",
    "scheduling.Appointment": "a visit as it is planned; what was done is a treatment, and each change is an event",
    "scheduling.AppointmentItem": "what a planned visit serves",
    "scheduling.Bay": "the shop's own set-up; each change is an event",
    "scheduling.BayClosure": "the shop's own set-up; each change is an event",
    "scheduling.BodyStyleSize": "the shop's reference data",
    "scheduling.ClosedDay": "the shop's own calendar",
    "scheduling.CoverFault": "why a cover could not be computed when it was last tried",
    "scheduling.CoverState": "an index that is computed from the records",
    "scheduling.CustomerWish": "on which days a customer would rather come",
    "scheduling.DueItem": "an index that is computed from the records",
    "scheduling.PersonHours": "the shop's own set-up; each change is an event",
    "scheduling.PersonSkill": "the shop's own set-up; each change is an event",
    "scheduling.RecomputeRange": "how far a recompute has come",
    "scheduling.RecomputeRun": "how far a recompute has come",
    "scheduling.SavedFilter": "what somebody of the shop looks for",
    "scheduling.SeasonPlan": "a proposal",
    "scheduling.SeasonProposal": "a proposal",
    "scheduling.SiteCalendar": "the shop's own calendar",
    "scheduling.SiteHours": "the shop's own set-up; each change is an event",
    "scheduling.SiteTerms": "under which terms the next cover is sold; each change is an event",
    "scheduling.VehicleSize": "what a vehicle measures",
    "scheduling.WarrantyTerms": "the name of a family of terms; each published version has its own title",
    "scheduling.WorkDuration": "the shop's own set-up; each change is an event",
}
