"""Runs of reminders: joined for a person, within hours and limits, once released; nothing lost, nothing told twice."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from notifications.consents.services import record_consent, set_contact_hours, set_preference
from notifications.enums import Channel, ConsentSource, MessageStatus, NoticeStatus, Purpose, Step
from notifications.going_live.preview import foresee_usual_day, preview_release
from notifications.going_live.queries import read_release
from notifications.going_live.services import release_reminders
from notifications.models import ContactHours, Message, Notice, Release
from notifications.reminders import services
from notifications.reminders.relevance import find_untrue_reminders
from scheduling.index.service import recompute
from scheduling.models import Cover, SiteCalendar, SiteTerms
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_reminders import add_due_vehicle, noon, treat
from treatments.enums import TreatmentKind
from treatments.models import Customer, Site

VINS = ("11111111111111111", "22222222222222222", "33333333333333333", "44444444444444444", "55555555555555555")
LENA = "lena@example.com"


def add_fleet(shop: ShopForTests, count: int = 5, *, contact: str = LENA) -> list[Cover]:
    """Add vehicles of one person, each due a day after the one before."""
    return [
        add_due_vehicle(shop, vin, contact, date(2025, 6, 10) + timedelta(days=number))
        for number, vin in enumerate(VINS[:count])
    ]


def run_on(day: date) -> services.ReminderReport:
    recompute(as_of=day, now=noon(day))
    return services.write_due_reminders(now=noon(day))


def send_all(day: date) -> None:
    """Mark as sent what was written, as a worker would."""
    Message.objects.filter(status=MessageStatus.WAITING).update(status=MessageStatus.SENT, sent_at=noon(day))


def test_five_vehicles_due_in_a_week_make_one_message_that_lists_them(shop: ShopForTests) -> None:
    covers = add_fleet(shop)
    assert run_on(date(2026, 6, 3)).written == 1
    (message,) = Message.objects.all()
    assert {notice.cover_id for notice in message.notices.all()} == {cover.pk for cover in covers}
    assert all(cover.vehicle.vin in message.body for cover in covers)
    # The steps of the days to come were told with it.
    assert [run_on(date(2026, 6, day)).written for day in (4, 5, 6, 7, 8, 9)] == [0] * 6
    assert set(Notice.objects.values_list("step", flat=True)) == {Step.WEEK_LEFT}


def test_vehicles_of_two_persons_make_two_messages(shop: ShopForTests) -> None:
    add_fleet(shop, 2)
    add_due_vehicle(shop, VINS[2], "osric@example.com", date(2025, 6, 10))
    assert run_on(date(2026, 6, 3)).written == 2


def test_what_lies_a_week_apart_is_told_apart(shop: ShopForTests) -> None:
    add_due_vehicle(shop, VINS[0], LENA, date(2025, 6, 10))
    add_due_vehicle(shop, VINS[1], LENA, date(2025, 6, 17))
    # The month before the last day of both was told before.
    run_on(date(2026, 5, 18))
    Message.objects.update(due_at=noon(date(2026, 5, 18)))
    assert run_on(date(2026, 6, 3)).written == 1
    assert run_on(date(2026, 6, 10)).written == 1
    _month, first, second = Message.objects.order_by("pk")
    assert first.notices.count() == 1
    assert Counter(second.notices.values_list("step", flat=True)) == {Step.LAST_DAY: 1, Step.WEEK_LEFT: 1}


def test_a_message_is_of_the_kind_that_is_most_pressing(shop: ShopForTests) -> None:
    add_due_vehicle(shop, VINS[0], LENA, date(2025, 4, 1))
    add_due_vehicle(shop, VINS[1], LENA, date(2025, 6, 10))
    assert run_on(TODAY).written == 1
    assert Message.objects.get().kind == "visit_missed"


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, VINS[0], LENA, date(2025, 6, 10))


def list_steps_told() -> list[Step]:
    return [Step(step) for step in Notice.objects.order_by("pk").values_list("step", flat=True)]


def test_after_a_gap_only_the_newest_step_is_told(cover: Cover) -> None:
    run_on(date(2026, 5, 20))
    assert run_on(date(2026, 7, 30)).written == 1
    assert list_steps_told() == [Step.MONTH_LEFT, Step.MISSED]


def test_what_is_beyond_the_weeks_number_waits_and_is_overtaken_by_a_later_step(cover: Cover) -> None:
    site = cover.site
    ContactHours.objects.create(site=site, most_per_week=1)
    assert run_on(date(2026, 6, 10)).written == 1
    capped = run_on(date(2026, 6, 11))
    assert (capped.written, capped.capped) == (0, (cover.number,))
    assert Notice.objects.get(step=Step.GRACE).status == NoticeStatus.WAITING
    assert run_on(date(2026, 7, 11)).written == 1
    by_step = dict(Notice.objects.values_list("step", "status"))
    assert by_step == {Step.LAST_DAY: "told", Step.GRACE: "overtaken", Step.MISSED: "told"}


def test_what_waited_for_the_weeks_number_is_told_once_the_week_is_over(cover: Cover) -> None:
    ContactHours.objects.create(site=cover.site, most_per_week=1)
    run_on(date(2026, 6, 10))
    assert [run_on(date(2026, 6, day)).written for day in (11, 12, 16, 17)] == [0, 0, 0, 1]
    assert Notice.objects.get(step=Step.GRACE).status == NoticeStatus.TOLD
    assert Notice.objects.count() == 2


def test_a_chosen_cover_is_told_whatever_the_week_and_the_release(cover: Cover) -> None:
    ContactHours.objects.create(site=cover.site, most_per_week=1)
    run_on(date(2026, 6, 10))
    Release.objects.all().delete()
    assert not run_on(date(2026, 6, 11)).is_released
    assert services.write_due_reminders(now=noon(date(2026, 6, 11)), covers=[cover.pk]).written == 1


@pytest.mark.parametrize(
    ("written", "due"),
    [
        # 22:00 on Wednesday waits for 08:00 on Thursday; 23:00 on Saturday for Monday.
        (datetime(2026, 5, 21, 2, tzinfo=UTC), datetime(2026, 5, 21, 12, tzinfo=UTC)),
        (datetime(2026, 5, 24, 3, tzinfo=UTC), datetime(2026, 5, 25, 12, tzinfo=UTC)),
        (NOW, NOW),
    ],
)
def test_nobody_is_written_to_at_night_or_on_a_sunday(cover: Cover, written: datetime, due: datetime) -> None:
    services.write_due_reminders(now=written)
    assert Message.objects.get().due_at == due


def test_the_clock_is_the_customers_where_it_is_known(cover: Cover) -> None:
    set_preference(customer=Customer.objects.get(), channel=None, time_zone="Asia/Tokyo", now=NOW, actor=None)
    services.write_due_reminders(now=NOW)
    # 15:00 UTC is midnight in Tokyo; 08:00 there is 23:00 UTC.
    assert Message.objects.get().due_at == datetime(2026, 5, 20, 23, tzinfo=UTC)


def test_a_run_at_night_tells_what_is_so_in_the_morning(cover: Cover) -> None:
    """On the evening of the last day: the message goes when the grace has begun, and says so."""
    evening = datetime(2026, 6, 10, 22, tzinfo=ZoneInfo("America/New_York"))
    recompute(as_of=date(2026, 6, 10), now=evening)
    services.write_due_reminders(now=evening)
    message = Message.objects.get()
    assert message.kind == "in_grace"
    assert message.due_at == datetime(2026, 6, 11, 12, tzinfo=UTC)
    assert find_untrue_reminders([message], now=message.due_at) == set()


def test_hours_may_be_set_for_a_site(cover: Cover) -> None:
    at = noon(TODAY).timetz().replace(tzinfo=None)
    set_contact_hours(
        site=cover.site, quiet_from=at, quiet_until=at, quiet_weekdays="", most_per_week=3, now=NOW, actor=None
    )
    night = datetime(2026, 5, 24, 3, tzinfo=UTC)
    services.write_due_reminders(now=night)
    assert Message.objects.get().due_at == night


def test_who_has_no_e_mail_gets_a_text_if_they_agreed_else_a_letter(shop: ShopForTests, settings: object) -> None:
    settings.TEXT_GATEWAY_URL = "https://texts.example.org/"  # type: ignore[attr-defined]
    add_due_vehicle(shop, VINS[0], "+1 555 0123", date(2025, 6, 10))
    customer = Customer.objects.get()
    assert services.write_due_reminders(now=NOW).without_address == (Cover.objects.get().number,)
    customer.address = "3 Kiln Row"
    customer.save()
    assert services.write_due_reminders(now=NOW).written == 1
    assert Message.objects.get().channel == Channel.LETTER
    record_consent(customer=customer, purpose=Purpose.TEXTS, given=True, source=ConsentSource.DESK, now=NOW, actor=None)
    assert run_on(date(2026, 6, 3)).written == 1
    assert Message.objects.order_by("pk").last().channel == Channel.TEXT  # type: ignore[union-attr]
    set_preference(customer=customer, channel=Channel.LETTER, time_zone="", now=NOW, actor=None)
    assert run_on(date(2026, 6, 10)).written == 1
    assert Message.objects.order_by("pk").last().channel == Channel.LETTER  # type: ignore[union-attr]


def test_of_two_runs_at_once_one_writes(cover: Cover, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second has read before the first has written."""
    plan = services.plan_reminders(now=NOW, release=read_release())
    services.write_due_reminders(now=NOW)
    monkeypatch.setattr(services, "plan_reminders", lambda **options: plan)
    assert services.write_due_reminders(now=NOW).written == 0
    assert Message.objects.count() == Notice.objects.count() == 1


def test_a_withdrawn_message_is_written_anew_once_it_is_so_again(cover: Cover) -> None:
    services.write_due_reminders(now=NOW)
    Message.objects.update(status=MessageStatus.WITHDRAWN)
    assert services.write_due_reminders(now=NOW).written == 1
    assert Notice.objects.get().again == 1
    assert services.write_due_reminders(now=NOW).written == 0
    assert len(set(Message.objects.values_list("key", flat=True))) == 2


def test_a_message_of_several_is_withdrawn_when_one_of_them_is_done_and_the_others_are_told_anew(
    shop: ShopForTests,
) -> None:
    covers = add_fleet(shop, 3)
    day = date(2026, 6, 3)
    run_on(day)
    message = Message.objects.get()
    assert find_untrue_reminders([message], now=noon(day)) == set()
    treat(shop, covers[0].vehicle, day, TreatmentKind.ANNUAL_TOUCH_UP)
    recompute(as_of=day, now=noon(day))
    assert find_untrue_reminders([message], now=noon(day)) == {message.pk}
    Message.objects.update(status=MessageStatus.WITHDRAWN)
    assert services.write_due_reminders(now=noon(day)).written == 1
    again = Message.objects.order_by("pk").last()
    assert again is not None
    assert {notice.cover_id for notice in again.notices.all()} == {cover.pk for cover in covers[1:]}


def test_a_cover_in_force_again_is_told_once(shop: ShopForTests, cover: Cover) -> None:
    missed = date(2026, 7, 20)
    run_on(missed)
    send_all(missed)
    day = missed + timedelta(days=9)
    treat(shop, cover.vehicle, day, TreatmentKind.ANNUAL_TOUCH_UP)
    assert run_on(day).written == 1
    cured = Message.objects.order_by("pk").last()
    assert cured is not None and cured.kind == "cover_in_force"
    assert find_untrue_reminders([cured], now=noon(day)) == set()
    assert run_on(day + timedelta(days=1)).written == 0


def test_without_a_release_nothing_is_written(cover: Cover) -> None:
    Release.objects.all().delete()
    report = run_on(TODAY)
    assert (report.is_released, report.written) == (False, 0)
    assert not Message.objects.exists() and not Notice.objects.exists()


def let_out(missed_since: date = date(2000, 1, 1), portion: int = 1000, usual: int = 1000) -> Release:
    return release_reminders(missed_since=missed_since, daily_portion=portion, usual_per_day=usual, now=NOW, actor=None)


def add_owners(shop: ShopForTests, count: int) -> None:
    for number, vin in enumerate(VINS[:count]):
        add_due_vehicle(shop, vin, f"owner{number}@example.com", date(2025, 6, 10))


def test_what_was_missed_before_the_chosen_day_is_not_told_but_later_steps_are(cover: Cover) -> None:
    # The month before the last day began on 10 May.
    let_out(missed_since=date(2026, 5, 11))
    assert run_on(TODAY).written == 0
    assert preview_release(now=NOW, missed_since=date(2026, 5, 11), daily_portion=9, usual_per_day=9).too_old == 1
    assert run_on(date(2026, 6, 3)).written == 1
    assert list_steps_told() == [Step.WEEK_LEFT]


def test_what_fell_due_before_the_release_goes_in_daily_portions(shop: ShopForTests) -> None:
    add_owners(shop, 5)
    let_out(portion=2)
    counts = []
    for after in range(4):
        day = TODAY + timedelta(days=after)
        first, again = run_on(day), run_on(day)
        assert again.written == 0
        counts.append((first.written, first.waiting))
    assert counts == [(2, 3), (2, 1), (1, 0), (0, 0)]


def test_a_wave_stops_and_asks(shop: ShopForTests, monkeypatch: pytest.MonkeyPatch) -> None:
    from notifications.reminders.rules import joining

    monkeypatch.setattr(joining, "FEW_IN_ANY_CASE", 3)
    add_owners(shop, 5)
    let_out(portion=1, usual=1)
    day = date(2026, 6, 3)  # after the release, so no part of its backlog
    monkeypatch.setattr(joining, "TIMES_THE_USUAL", 4)
    report = run_on(day)
    assert report.is_wave and report.written == 0 and not Message.objects.exists()
    release = read_release()
    assert release is not None and release.paused_at == noon(day)
    assert not run_on(day + timedelta(days=1)).is_released
    # Let out anew, what fell due by then goes in portions.
    release_reminders(missed_since=date(2026, 1, 1), daily_portion=2, usual_per_day=1, now=noon(day), actor=None)
    assert run_on(day).written == 2
    monkeypatch.setattr(joining, "TIMES_THE_USUAL", 5)
    assert joining.find_most_in_all(1) == 5 and joining.find_most_in_all(0) == 3


def test_a_preview_tells_what_a_run_then_writes_and_writes_nothing(shop: ShopForTests) -> None:
    add_fleet(shop, 2)
    add_due_vehicle(shop, VINS[2], "osric@example.com", date(2025, 4, 1))
    add_due_vehicle(shop, VINS[3], "+1 555 0123", date(2025, 6, 10))
    Release.objects.all().delete()
    preview = preview_release(now=NOW, missed_since=date(2026, 1, 1), daily_portion=1, usual_per_day=3)
    assert (preview.messages, preview.today, preview.days) == (2, 1, 2)
    assert {kind.value: count for kind, _channel, count in preview.counts} == {"visit_missed": 1, "visit_due": 1}
    assert preview.without_address == (Cover.objects.get(vehicle__vin=VINS[3]).number,)
    assert {sample.address for sample in preview.samples} == {LENA, "osric@example.com"}
    assert all(sample.subject and sample.name in sample.body for sample in preview.samples)
    assert not Message.objects.exists() and not Notice.objects.exists() and not Release.objects.exists()
    let_out(missed_since=date(2026, 1, 1))
    assert run_on(TODAY).written == preview.messages
    assert foresee_usual_day(NOW) >= 1


ZONES = {
    "mill-lane": "America/New_York",
    "harbour": "Pacific/Auckland",
    "quarry": "Europe/Paris",
    "atoll": "Pacific/Kiritimati",
}


def test_a_year_at_sites_around_the_world_tells_each_step_once_on_its_day_and_by_day(shop: ShopForTests) -> None:
    """Across both changes of the clock of each zone; every hour of a run is asked on the days around a step."""
    terms = SiteTerms.objects.get().terms_version
    days: set[date] = {date(2026, 3, 8), date(2026, 3, 29), date(2026, 4, 5), date(2026, 9, 27)}
    for number, (code, zone) in enumerate(ZONES.items()):
        site = shop.site
        if code != "mill-lane":
            site = Site.objects.create(code=code, name=code, time_zone=zone)
            SiteCalendar.objects.create(site=site, closed_on_public_holidays=False)
            SiteTerms.objects.create(site=site, terms_version=terms)
        there = ShopForTests(site, shop.wax, shop.film)
        # The last day lies on or beside the day on which clocks change.
        add_due_vehicle(there, VINS[number], f"owner{number}@example.com", date(2025, 3, 30))
    recompute(as_of=date(2026, 1, 1), now=NOW)
    for cover in Cover.objects.all():
        for item in cover.due_items.all():
            for mark in (item.opens_on, item.last_on - timedelta(days=30), item.last_on - timedelta(days=7),
                         item.last_on, item.grace_until):  # fmt: skip
                days |= {mark + timedelta(days=beside) for beside in (-1, 0, 1)}
    for day in sorted(one for one in days if one.year == 2026):
        recompute(as_of=day, now=noon(day))
        for hour in (0, 7, 13, 21):
            services.write_due_reminders(now=datetime(day.year, day.month, day.day, hour, tzinfo=UTC))
    told = list(Notice.objects.filter(status=NoticeStatus.TOLD).select_related("message", "cover__site"))
    by_cover = Counter(notice.cover.site.code for notice in told)
    assert set(by_cover) == set(ZONES)
    assert len({(notice.cover_id, notice.due_key, notice.step) for notice in told}) == len(told)
    steps = {Step(notice.step) for notice in told if notice.due_key.startswith("reinspection:1")}
    assert steps == {Step.OPENS, Step.MONTH_LEFT, Step.WEEK_LEFT, Step.LAST_DAY, Step.GRACE, Step.MISSED}
    for notice in told:
        assert notice.message is not None
        local = notice.message.due_at.astimezone(notice.cover.site.clock)
        assert 8 <= local.hour < 20 and local.isoweekday() != 7
        assert local.date() >= notice.day - timedelta(days=6)
