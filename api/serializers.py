"""What the API says about vehicles, covers, due items and claims. Dates are ISO 8601; quantities name their unit.

A customer's name is told to a dealership, since it sold the cover; contact details never leave the shop here.
"""

from typing import Any

from rest_framework import serializers

from api.access import get_user
from claims.models import Claim
from claims.rules.claim import Finding
from scheduling.models import Cover, DueItem
from scheduling.visibility import find_holder_for
from treatments.models import (
    Inspection,
    InspectionLine,
    MaterialTotal,
    OdometerReading,
    Treatment,
    TreatmentLine,
    Vehicle,
    Zone,
)
from treatments.records.rules.rust_grade import grade_rust
from treatments.rules.explanation import Explanation, to_json
from treatments.shared.rendering import render


class VehicleSerializer(serializers.ModelSerializer[Vehicle]):
    class Meta:
        model = Vehicle
        fields = ["vin", "vin_mark", "plate", "description", "model_year", "body_style", "in_service_on"]


class LineSerializer(serializers.ModelSerializer[TreatmentLine]):
    zone = serializers.CharField(source="zone.code")
    zone_name = serializers.CharField(source="zone.name")
    product = serializers.CharField(source="product.name", default=None, allow_null=True)
    lot = serializers.CharField(source="lot.number", default=None, allow_null=True)

    class Meta:
        model = TreatmentLine
        fields = [
            "zone",
            "zone_name",
            "product",
            "lot",
            "quantity_amount",
            "quantity_unit",
            "quantity_ml",
            "not_done_reason",
        ]


class TotalSerializer(serializers.ModelSerializer[MaterialTotal]):
    product = serializers.CharField(source="product.name")
    lot = serializers.CharField(source="lot.number", default=None, allow_null=True)

    class Meta:
        model = MaterialTotal
        fields = ["product", "lot", "quantity_amount", "quantity_unit", "quantity_ml", "measured_by"]


class TreatmentSerializer(serializers.ModelSerializer[Treatment]):
    record = serializers.SerializerMethodField()
    replaced = serializers.SerializerMethodField(help_text="whether a later amendment replaces this version")
    lines = LineSerializer(many=True)
    totals = TotalSerializer(
        many=True, help_text="what the whole vehicle took; counts before the zones' own quantities for the stock"
    )

    class Meta:
        model = Treatment
        fields = ["record", "done_on", "kind", "recorded_at", "replaced", "amendment_reason", "lines", "totals"]

    def get_record(self, treatment: Treatment) -> str:
        return f"treatment {treatment.pk}"

    def get_replaced(self, treatment: Treatment) -> bool:
        return hasattr(treatment, "amended_by")


class InspectionLineSerializer(serializers.ModelSerializer[InspectionLine]):
    zone = serializers.CharField(source="zone.code")
    iso_4628_3 = serializers.SerializerMethodField()
    astm_d610 = serializers.SerializerMethodField()

    class Meta:
        model = InspectionLine
        fields = [
            "zone",
            "rusted_area_percent",
            "perforated",
            "film_state",
            "not_seen_reason",
            "iso_4628_3",
            "astm_d610",
        ]

    def get_iso_4628_3(self, line: InspectionLine) -> str | None:
        percent = line.rusted_area_percent
        return grade_rust(percent).iso_4628_3 if percent is not None else None

    def get_astm_d610(self, line: InspectionLine) -> int | None:
        percent = line.rusted_area_percent
        return grade_rust(percent).astm_d610 if percent is not None else None


class InspectionSerializer(serializers.ModelSerializer[Inspection]):
    record = serializers.SerializerMethodField()
    replaced = serializers.SerializerMethodField(help_text="whether a later amendment replaces this version")
    lines = InspectionLineSerializer(many=True)

    class Meta:
        model = Inspection
        fields = ["record", "done_on", "kind", "recorded_at", "replaced", "amendment_reason", "lines"]

    def get_record(self, inspection: Inspection) -> str:
        return f"inspection {inspection.pk}"

    def get_replaced(self, inspection: Inspection) -> bool:
        return hasattr(inspection, "amended_by")


class ReadingSerializer(serializers.ModelSerializer[OdometerReading]):
    class Meta:
        model = OdometerReading
        fields = ["day", "amount", "unit", "kilometres"]


class HistorySerializer(serializers.Serializer[object]):
    vehicle = VehicleSerializer()
    treatments = TreatmentSerializer(many=True)
    inspections = InspectionSerializer(many=True)
    readings = ReadingSerializer(many=True)


class ExplanationSerializer(serializers.Serializer[Any]):
    """What a rule has to say: a code that keeps its meaning, what it speaks of, and the text."""

    code = serializers.CharField()
    params = serializers.DictField(
        help_text=(
            "by name: a number or code as it is, or an object that tells its type: date; number, with unit where it "
            "has one; amount with currency; zone; product; words, as a person typed them; or code with params, an "
            "explanation within this one. A list holds several, null stands where there is nothing to say"
        )
    )
    text = serializers.CharField(help_text="in the language asked for by Accept-Language")

    def to_representation(self, instance: Explanation | dict[str, Any]) -> dict[str, Any]:
        document = to_json(instance) if isinstance(instance, Explanation) else instance
        return {**document, "text": render(instance, self.context.get("zone_names"))}


class ExplanationsSerializer(serializers.Serializer[object]):
    """Why each date but the target, which ``reasons`` explains, is what it is."""

    opens_on = ExplanationSerializer(source="why_opens")
    last_on = ExplanationSerializer(source="why_last")
    grace_until = ExplanationSerializer(source="why_grace")


class DueItemSerializer(serializers.ModelSerializer[DueItem]):
    cover = serializers.CharField(source="cover.number")
    vin = serializers.CharField(source="cover.vehicle.vin")
    reasons = ExplanationSerializer(many=True, help_text="of the target day, then what became of it")
    explanations = ExplanationsSerializer(source="*")

    class Meta:
        model = DueItem
        fields = [
            "cover",
            "vin",
            "key",
            "kind",
            "zones",
            "opens_on",
            "target_on",
            "last_on",
            "grace_until",
            "status",
            "reasons",
            "explanations",
        ]


class CoverSerializer(serializers.ModelSerializer[Cover]):
    vin = serializers.CharField(source="vehicle.vin")
    site = serializers.CharField(source="site.code")
    dealership = serializers.CharField(source="dealership.code", default=None, allow_null=True)
    holder = serializers.SerializerMethodField(
        help_text="null too for a dealership, where it is an owner who came after its own"
    )
    terms = serializers.CharField(source="terms_version.terms.code")
    terms_version = serializers.IntegerField(source="terms_version.version")
    status = serializers.CharField(
        source="last_state.status", default=None, allow_null=True, help_text="as last recomputed"
    )
    last_day = serializers.DateField(source="last_state.last_day", default=None, allow_null=True)
    explanations = ExplanationSerializer(
        source="last_state.explanations", many=True, default=None, allow_null=True, help_text="why that is its status"
    )

    class Meta:
        model = Cover
        fields = [
            "number",
            "vin",
            "site",
            "dealership",
            "holder",
            "terms",
            "terms_version",
            "sold_on",
            "registered_on",
            "status",
            "last_day",
            "explanations",
        ]

    def get_holder(self, cover: Cover) -> str | None:
        holder = find_holder_for(get_user(self.context["request"]), cover)
        return holder.name if holder else None


class StateSerializer(serializers.Serializer[object]):
    day = serializers.DateField()
    status = serializers.CharField()
    since = serializers.DateField(allow_null=True)
    last_day = serializers.DateField(allow_null=True)
    percent = serializers.DecimalField(max_digits=5, decimal_places=2)
    projected = serializers.BooleanField(help_text="whether it rests on a distance between odometer readings")
    explanations = ExplanationSerializer(many=True)
    records = serializers.ListField(child=serializers.CharField())


class ComputedDueItemSerializer(serializers.Serializer[object]):
    key = serializers.CharField()
    kind = serializers.CharField()
    zones = serializers.ListField(child=serializers.CharField())
    opens_on = serializers.DateField(source="dates.opens_on")
    target_on = serializers.DateField(source="dates.target_on")
    last_on = serializers.DateField(source="dates.last_on")
    grace_until = serializers.DateField(source="dates.grace_until")
    status = serializers.CharField()
    done_on = serializers.DateField(allow_null=True)
    reasons = ExplanationSerializer(many=True, help_text="of the target day, then what became of it")
    explanations = ExplanationsSerializer(source="dates")


class CoverOnDaySerializer(serializers.Serializer[object]):
    cover = CoverSerializer()
    state = StateSerializer()
    distance_ahead = ExplanationSerializer(
        many=True, help_text="when the distance limit will be reached, as a projection; none where that is not in sight"
    )
    due_items = ComputedDueItemSerializer(many=True)


class ClaimSerializer(serializers.ModelSerializer[Claim]):
    cover = serializers.CharField(source="cover.number")
    vin = serializers.CharField(source="cover.vehicle.vin")
    zones: serializers.SlugRelatedField[Zone] = serializers.SlugRelatedField(
        many=True, read_only=True, slug_field="code"
    )
    estimate = serializers.SerializerMethodField()

    class Meta:
        model = Claim
        fields = [
            "number",
            "cover",
            "vin",
            "discovered_on",
            "reported_on",
            "damage",
            "description",
            "zones",
            "estimate",
        ]

    def get_estimate(self, claim: Claim) -> dict[str, str] | None:
        if claim.estimate_amount is None:
            return None
        return {"amount": str(claim.estimate_amount), "currency": claim.estimate_currency}


class FindingSerializer(serializers.Serializer[object]):
    rule = serializers.CharField()
    zone = serializers.CharField(allow_null=True)
    question = serializers.SerializerMethodField(help_text="in the language asked for by Accept-Language")
    answer = serializers.ChoiceField(choices=["holds", "fails", "cannot_be_told"])
    explanations = ExplanationSerializer(many=True, help_text="why")
    records = serializers.ListField(child=serializers.CharField())
    clause = serializers.CharField()
    shop_fell_short = serializers.BooleanField()

    def get_question(self, finding: Finding) -> str:
        return render(finding.question)


class ClaimCheckSerializer(serializers.Serializer[object]):
    claim = ClaimSerializer()
    answer = serializers.ChoiceField(
        choices=["holds", "fails", "cannot_be_told"],
        allow_null=True,
        help_text="null, and no findings, for a dealership before the claim is decided",
    )
    findings = FindingSerializer(many=True)
    note = serializers.CharField()


class ProblemFieldSerializer(serializers.Serializer[object]):
    field = serializers.CharField()
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer[object]):
    """Problem details, RFC 9457."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    instance = serializers.CharField()
    errors = ProblemFieldSerializer(many=True, required=False)  # type: ignore[assignment]  # RFC 9457 calls it so
