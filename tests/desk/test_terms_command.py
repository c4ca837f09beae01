"""manage.py terms check, preview and publish: what is said, what is written, and how it ends."""

import csv
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone

from scheduling.models import Cover, SiteTerms, TermsVersion
from tests.conftest import FIXTURES, ShopForTests
from tests.demo_records import load_demo
from tests.table_contents import read_tables
from treatments.models import Event, Product, Site

pytestmark = pytest.mark.django_db
SAMPLE = FIXTURES / "terms" / "lifetime_yearly.toml"


@pytest.fixture
def demo(db: None, tmp_path: Path) -> Path:
    """The demo shop with its covers and claims, and a folder for files of terms."""
    load_demo(tmp_path, timezone.now())
    return tmp_path


def run(*arguments: object) -> str:
    out = StringIO()
    call_command("terms", *map(str, arguments), stdout=out)
    return out.getvalue()


def write(folder: Path, *replaced: tuple[str, str]) -> Path:
    text = SAMPLE.read_text("utf-8").replace("version = 1", "version = 2")
    for old, new in replaced:
        assert old in text
        text = text.replace(old, new)
    path = folder / "draft.toml"
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("path", sorted((FIXTURES / "terms").glob("*.toml")), ids=lambda path: path.stem)
def test_every_sample_passes_the_check(shop: ShopForTests, path: Path) -> None:
    assert run("check", path) == f"{path.name}: nothing is wrong with it.\n"
    assert "No cover to compare" in run("preview", path, "--all")


@pytest.mark.parametrize("doing", ["check", "preview", "publish"])
def test_a_language_without_its_texts_is_named(shop: ShopForTests, tmp_path: Path, doing: str) -> None:
    path = write(tmp_path)
    text = path.read_text("utf-8")
    assert "français" not in run("check", path)
    path.write_text(text[: text.index("[[texts]]")], "utf-8")
    assert "français" in run(doing, path)


@pytest.mark.parametrize("doing", ["check", "preview", "publish"])
def test_a_touch_up_of_a_family_that_no_product_is_of_is_an_error_everywhere(
    shop: ShopForTests, tmp_path: Path, doing: str
) -> None:
    path = write(tmp_path, ('"underbody_wax"', '"water_displacing_first_coat"'))
    before = read_tables()
    with pytest.raises(CommandError) as caught:
        run(doing, path)
    said = str(caught.value)
    assert "touch_ups[2].family = 'water_displacing_first_coat'" in said
    assert all(product.family in said for product in Product.objects.all())
    assert read_tables() == before


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("window_before_days = 60", "window_before_days = 400", "reinspection.window_before_days = 400"),
        ("grace_days = 30", "grace_days = 300", "reinspection.grace_days = 300"),
        ("grace_days = 30", "grace_days = -3", "reinspection.grace_days = -3: Write a whole number, 0 or more"),
        ("grace_days = 30", "grace_dayz = 30", "reinspection.grace_dayz = 30: No such field; there are: first_after"),
        ('"rocker_right"', '"rocker_rigth"', "entry.required_zones[1] = 'rocker_rigth': The shop has no such zone."),
        ("[entry]", "[entry", "draft.toml: "),
    ],
)
def test_a_mistake_names_field_value_and_way_out(
    shop: ShopForTests, tmp_path: Path, old: str, new: str, said: str
) -> None:
    with pytest.raises(CommandError) as caught:
        run("check", write(tmp_path, (old, new)))
    assert said in str(caught.value)
    assert caught.value.returncode == 1


def test_a_missing_file_and_wrong_options_are_told(shop: ShopForTests, tmp_path: Path) -> None:
    for arguments, said in (
        (["check", tmp_path / "none.toml"], "none.toml"),
        (["preview", SAMPLE, "--as-of", "soon"], "'soon' is not a day"),
        (["preview", SAMPLE, "--show", "-1"], "expected one argument|not a whole number"),
        (["preview", SAMPLE, "--instead-of", "nothing"], "no such terms; there are: lifetime-yearly"),
        (["preview", SAMPLE, "--csv", tmp_path / "no" / "folder.csv"], "folder.csv"),
        (["publish", SAMPLE, "--usual-for", "nowhere"], "no such site; there is: mill-lane"),
        (["preview", SAMPLE, "--all", "--instead-of", "x"], "not allowed with"),
        ([], "required"),
    ):
        with pytest.raises(CommandError, match=said):
            run(*arguments)


def test_a_preview_tells_counts_and_sentences_and_writes_only_its_file(demo: Path) -> None:
    path = write(demo, ("\nnotice_days = 30", "\nnotice_days = 3"), ("grace_days = 30", "grace_days = 5"))
    out = demo / "all.csv"
    before = read_tables()
    said = run("preview", path, "--csv", out, "--show", "2")
    assert read_tables() == before
    assert run("preview", path, "--csv", out, "--show", "2") == said
    plain = " ".join(said.split())
    assert "Nothing was written." in plain
    assert "12 covers compared 12 of them would be different in some way" in plain
    assert "2 claims on file compared 1 of them would come out differently" in plain
    assert "Due dates, the first 2:" in said
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["about"] for row in rows} == {"cover", "claim"}
    moved = {row["cover"] for row in rows if row["what"] == "the next reinspection: grace until"}
    assert len(moved) > 2
    assert ("Was it reported in time?", "holds", "fails") in {(row["what"], row["from"], row["to"]) for row in rows}


def test_a_preview_can_ask_about_another_day_and_about_other_terms(demo: Path) -> None:
    sample = FIXTURES / "terms" / "yearly_renewal.toml"
    assert "No cover to compare: try --instead-of CODE or --all." in run("preview", sample)
    assert " 12  covers compared" in run("preview", sample, "--all")
    said = " ".join(run("preview", sample, "--instead-of", "lifetime-yearly", "--show", "0").split())
    assert "over the covers under lifetime-yearly" in said
    assert "3 would lapse" in said
    assert "State of the cover" not in said
    assert "compared on 2020-01-01" in run("preview", SAMPLE, "--as-of", "2020-01-01")
    assert "Nothing would change." in run("preview", SAMPLE)


def test_publishing_is_done_once_and_can_make_the_terms_usual(demo: Path) -> None:
    path = write(demo, ("grace_days = 30", "grace_days = 20"))
    covers = list(Cover.objects.order_by("pk").values_list("pk", "terms_version"))
    assert "Published: lifetime-yearly version 2." in run("publish", path)
    assert SiteTerms.objects.get().terms_version.version == 1
    said = run("publish", path, "--usual-for", "quay-street")
    assert f"New first treatments at {Site.objects.get().name} are registered under it." in said
    assert SiteTerms.objects.get().terms_version == TermsVersion.objects.get(
        terms__code="lifetime-yearly", version=2, published_at__isnull=False
    )
    assert Event.objects.filter(kind="terms.published", after__document__version=2).count() == 1
    assert list(Cover.objects.order_by("pk").values_list("pk", "terms_version")) == covers
    with pytest.raises(CommandError, match="higher version"):
        run("publish", write(demo, ("grace_days = 30", "grace_days = 21")))
    stored = TermsVersion.objects.get(terms__code="lifetime-yearly", version=2).document
    assert stored["reinspection"]["grace_days"] == 20
