"""How much memory a large photo takes, measured in a process of its own, and what becomes of one that is too large."""

import io
import subprocess
import sys

import pytest
from PIL import Image

from treatments.records.photos import LONGEST_EDGE, PhotoError, clean_photo

pytestmark = pytest.mark.slow

# With the program itself, about 70 of them, which grows as the program does.
MOST_MEGABYTES = 320
WORKER = """
import resource, sys
import django
django.setup()
from config.urls import urlpatterns  # what a process that serves pages has loaded
from treatments.records.photos import PhotoError, clean_photo
try:
    with open(sys.argv[1], "rb") as upload:
        clean_photo(upload, "photo")
    outcome = "kept"
except PhotoError as error:
    outcome = "refused"
    assert "pixels" in str(error), error
print(outcome, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def draw(size, mode="RGB"):
    # Few colours and little detail, so that the file stays small; the memory rests on the pixels alone.
    return Image.linear_gradient("L").resize(size).convert(mode)


def write(picture, kind, **options):
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


def measure(content, tmp_path):
    path = tmp_path / "photo"
    path.write_bytes(content)
    # A child counts what its parent held when it was made, so a small shell starts the process that is measured.
    run = subprocess.run(
        ["/bin/sh", "-c", '"$0" -c "$1" "$2"; exit $?', sys.executable, WORKER, str(path)],
        capture_output=True, text=True, check=True, env=WORKER_ENVIRONMENT,
    )  # fmt: skip
    outcome, megabytes = run.stdout.split()
    return outcome, int(megabytes)


WORKER_ENVIRONMENT = {"DJANGO_SETTINGS_MODULE": "config.settings", "PATH": "/usr/bin:/bin"}

LARGE = [
    pytest.param((9_000, 6_600), "JPEG", {}, "kept", id="60 megapixels"),
    pytest.param((9_000, 6_600), "JPEG", {"subsampling": 0}, "kept", id="60 megapixels, all colour kept"),
    pytest.param((30_000, 2_000), "JPEG", {}, "kept", id="a panorama"),
    pytest.param((4_790, 4_790), "JPEG", {}, "kept", id="the largest that is decoded whole"),
    pytest.param((7_400, 4_000), "JPEG", {"progressive": True}, "kept", id="29 megapixels in many scans"),
    pytest.param((9_000, 6_600), "JPEG", {"progressive": True, "subsampling": 0}, "refused", id="60 in many scans"),
    pytest.param((6_000, 3_900), "PNG", {}, "kept", id="PNG of 23 megapixels"),
    pytest.param((9_000, 6_600), "PNG", {}, "refused", id="PNG of 60 megapixels"),
    pytest.param((3_500, 2_000), "WEBP", {}, "kept", id="WebP of 7 megapixels"),
    pytest.param((9_000, 6_600), "WEBP", {}, "refused", id="WebP of 60 megapixels"),
    pytest.param((9_000, 6_700), "JPEG", {}, "refused", id="more than 60 megapixels"),
]


@pytest.mark.parametrize(("size", "kind", "options", "outcome"), LARGE)
def test_a_large_photo_takes_little_memory(size, kind, options, outcome, tmp_path):
    found, megabytes = measure(write(draw(size), kind, **options), tmp_path)
    assert found == outcome
    assert megabytes < MOST_MEGABYTES


@pytest.mark.parametrize("mode", ["P", "I;16", "LA", "1", "RGBA"])
def test_a_png_of_any_colours_is_kept(mode, tmp_path):
    picture = draw((600, 300), "L").convert("I") if mode == "I;16" else draw((600, 300), "L")
    kept = clean_photo(io.BytesIO(write(picture.convert(mode), "PNG")), "photo.png")
    assert Image.open(io.BytesIO(kept.content)).size == (600, 300)


@pytest.mark.parametrize(("size", "upright"), [((900, 600), (600, 900)), ((9_000, 4_500), (1_200, LONGEST_EDGE))])
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_photo_is_turned_upright_after_it_was_made_small(kind, size, upright):
    if kind == "PNG" and size[0] > LONGEST_EDGE:
        size = (4_800, 2_400)
    exif = Image.Exif()
    exif[0x0112] = 6  # turned a quarter to the right
    picture = draw(size, "P" if kind == "PNG" else "RGB")
    kept = clean_photo(io.BytesIO(write(picture, kind, exif=exif)), "photo")
    assert Image.open(io.BytesIO(kept.content)).size == upright


def test_a_decompression_bomb_is_refused_with_the_number_of_pixels():
    bomb = write(Image.new("1", (20_000, 20_000)), "PNG")
    assert len(bomb) < 100_000
    with pytest.raises(PhotoError, match="megapixels"):
        clean_photo(io.BytesIO(bomb), "bomb.png")
