"""The report as HTML: valid, self-contained, and saying what the answer says."""

import base64
import html as html_escapes
import re
import shutil
import subprocess

import html5lib
import numpy as np
import pytest
from helpers.reports import PLACE, SERIAL, report, telling_photo

from gapvision.answer.evidence_text import REMINDER, SAFETY
from gapvision.answer.picture.drawing import BLUE, DECIDING_COLOUR, WIDEST_COLOUR
from gapvision.answer.report.html import joint_html, wall_html
from gapvision.answer.report.photos import scaled_photo

HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"
EVIL = """<script>alert("x")</script> & 'quoted' </title>"""
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def parsed(text):
    """The document; html5lib in strict mode raises ParseError at the first parse error."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=True).parse(text)


def words(root):
    """All text but the style's, in one line."""
    for style in root.iter(f"{HTML}style"):
        style.text = ""
    return " ".join(" ".join(root.itertext()).split())


def wall():
    # Log 10 comes after 9, not after 1.
    logs = [report(log) for log in ("10", "9", "1", "2")]
    return [*logs, report("3", "doubtful"), report("4", refused="No card was found.")]


EVERY_PAGE = [
    pytest.param(lambda: joint_html(report()), id="joint"),
    pytest.param(lambda: joint_html(report(status="doubtful", units="in")), id="doubtful"),
    pytest.param(lambda: joint_html(report(refused="No card.")), id="refused"),
    pytest.param(lambda: joint_html(report(photos=(), picture=None)), id="bare"),
    pytest.param(lambda: joint_html(report(log=EVIL, building=EVIL, wall=EVIL)), id="evil"),
    pytest.param(lambda: wall_html(wall()), id="wall"),
    pytest.param(lambda: wall_html([report(refused="No card.")]), id="wall refused"),
]


@pytest.mark.parametrize("page", EVERY_PAGE)
def test_pages_are_valid_and_need_nothing_from_elsewhere(page):
    text = page()
    root = parsed(text)
    assert root.get("lang") == "en-GB"
    assert text.startswith("<!DOCTYPE html>\n")
    assert 'name="viewport" content="width=device-width, initial-scale=1"' in text
    assert "@page" in text
    assert not list(root.iter(f"{HTML}script"))
    for element in root.iter():
        for name in ("src", "href", "srcset", "{http://www.w3.org/1999/xlink}href", "action"):
            assert (element.get(name) or "data:").startswith("data:")
        assert not any(name.startswith("on") for name in element.attrib)
    assert not re.search(r"url\(|@import", text)
    for image in root.iter(f"{HTML}img"):
        assert image.get("alt")
    for drawing in root.iter(f"{SVG}svg"):
        assert drawing.get("role") == "img" and drawing.get("aria-label")
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("page", EVERY_PAGE)
def test_headings_are_in_order(page):
    levels = [
        int(e.tag[-1]) for e in parsed(page()).iter() if re.fullmatch(rf"{HTML}h[1-6]", str(e.tag))
    ]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:], strict=False))


def test_a_validator_that_cannot_fail_proves_nothing():
    with pytest.raises(html5lib.html5parser.ParseError):
        parsed("<!DOCTYPE html><html><head><title>x</title></head><body><p></div></body></html>")


def test_what_was_typed_stays_text():
    text = joint_html(report(building=EVIL, outcomes=({"remarks": EVIL},)))
    assert "<script>alert" not in text
    assert words(parsed(text)).count(EVIL) == 3  # title, heading, remarks


def test_the_answer_comes_first_and_large():
    root = parsed(joint_html(report()))
    main = root.find(f".//{HTML}main")
    assert [e.tag.removeprefix(HTML) for e in list(main)[:2]] == ["h1", "div"]
    answer = list(main)[1]
    assert answer.get("class") == "answer measured"
    first, second = (" ".join(p.itertext()).replace("\xa0", " ") for p in answer)
    assert first == "SET 49 mm"
    assert second == (
        "Decided 440 mm left of card 1, seen from outside: needs 47.0 ± 2.0 mm for a cover of 75 mm. "
        "(± holds 95 times in 100.)"
    )


def test_doubtful_and_refused_cannot_be_mistaken():
    doubtful = joint_html(report(status="doubtful"))
    assert '<div class="answer doubtful">' in doubtful
    said = words(parsed(doubtful))
    assert "AT LEAST 49 mm 200 mm of the joint not seen: it may need more there." in said
    assert "lower bound" not in said and "READY" not in said
    refused = words(parsed(joint_html(report(refused="No card was found."))))
    assert "NO SETTING REFUSED: No card was found." in refused
    assert "SET " not in refused and "AT LEAST" not in refused


def test_a_contradiction_is_no_setting_in_a_report_either():
    wrong = report(status="doubtful")
    wrong.result["cautions"].insert(0, {"code": "misfit", "text": "A misfit."})
    root = parsed(joint_html(wrong))
    said = words(root)
    assert "MEASURE AGAIN Photographs and fitted logs disagree. There is no setting" in said
    assert not re.search(r"\b49 mm|Setting needed|Narrowest groove|READY", said)
    assert not any("Groove" in (t or "") for t in root.find(f".//{SVG}svg").itertext())
    assert "MEASURE AGAIN" in words(parsed(wall_html([wrong])))


def test_what_to_do_follows_the_answer_and_none_is_made_up_for_old_files():
    told = report()
    told.result["to_do"] = [{"code": "read", "text": "Put the caliper in."}]
    said = words(parsed(joint_html(told)))
    assert (
        said.index("SET 49 mm") < said.index("To do Put the caliper in.") < said.index("Cautions")
    )
    assert "To do" not in words(parsed(joint_html(report())))


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_everything_is_said(status):
    said = words(parsed(joint_html(report(status=status, missing=("above.jpg: not found.",)))))
    for text in (
        "Log 3, north wall, Barn", "38.0 ± 1.8 mm", "47.0 ± 2.0 mm", "80.0 ± 3.9 mm",
        "390 mm left of card 2, seen from outside", "2026-05-14 09:12:33+02:00", "gapvision 0.1.0",
        "lens 4 mm above the gap's middle", "1500 mm away", "above.jpg: not found.",
        "Out of plumb", "0.4°, foot out", "One photograph is not much.", "U95", "hollow",
        "1.65 of its standard uncertainties (1.0 mm each)", REMINDER, SAFETY, "Measured by",
        "Cut by", "Date",
    ):  # fmt: skip
        assert text in said, text


def test_inches_are_inches_everywhere():
    said = words(parsed(joint_html(report(units="in"))))
    assert "SET 1 15/16 in" in said
    # The cover of 75 mm is no whole sixteenth and keeps its mm; nothing else is in mm.
    assert "mm" not in said.replace("(75 mm)", "")


def test_the_profile_has_band_cover_and_marks():
    root = parsed(joint_html(report(status="doubtful")))
    drawing = root.find(f".//{SVG}svg")
    text = " ".join(drawing.itertext())
    for name in ("widest gap", "decides the setting", "cover wanted, 75 mm", "not seen"):
        assert name in text
    styles = " ".join(e.get("style", "") for e in drawing.iter())
    drawn = {
        tuple(round(2.55 * float(c)) for c in found)
        for found in re.findall(r"rgb\(([\d.]+)%,([\d.]+)%,([\d.]+)%\)", styles)
    }
    for colour in (BLUE, WIDEST_COLOUR, DECIDING_COLOUR):  # as in the picture
        # SVG has them in whole per cent of 255.
        assert any(np.abs(np.subtract(colour, other)).max() <= 2 for other in drawn)
    dashed = [e.get("style") for e in drawing.iter() if "dasharray" in e.get("style", "")]
    assert len(dashed) == 4 and all("linecap: butt" in style for style in dashed)
    assert "Gap from 900 mm left of card 1 to 200 mm right of card 2" in drawing.get("aria-label")


def test_keys_of_later_versions_are_shown_as_they_stand():
    new = report()
    new.result["moisture"] = {"share": 0.16, "depth_mm": 25.4, "green": True, "by": None}
    new.result["samples"] = list(range(500))
    said = words(parsed(joint_html(new)))
    assert "Moisture Share 0.16 Depth 25.4 mm Green yes By unknown" in said
    assert "Samples 500 values" in said


def test_an_answer_without_the_later_parts_is_reported():
    old = report()
    for key in ("decision", "readings", "trials", "photographs_alone", "units", "verdict",
                "verdict_because", "first_line", "ready_to_scribe", "to_do"):  # fmt: skip
        old.result.pop(key, None)
    for caution in old.result["cautions"]:
        del caution["doubtful"]
    page = joint_html(old)
    assert "What follows" not in page
    assert "SET 49 mm" in words(parsed(page))


def test_lower_first_stands_with_the_answer_and_no_setting():
    advised = report()
    advised.result["decision"] = {
        "lowering": {
            "ready": False, "wanted_widest_mm": 30.0, "left_mm": 12.0, "right_mm": 0.0,
            "widest_gap": {"value_mm": 30.0, "u_mm": 0.5, "U95_mm": 1.0},
            "setting": {"set_to_mm": 41.0},
        },
        "covers": [{"cover_mm": 80.0, "value_mm": 48.0, "u_mm": 1.0, "U95_mm": 2.0,
                    "set_to_mm": 50.0, "deepest": None}],
        "limits": [{"what": "width", "found_mm": 142.4, "limit_mm": 112.0, "chance_broken": 0.99,
                    "source": "a source", "mark": "read"}],
    }  # fmt: skip
    advised.result["readings"] = [
        {"value_mm": 35.0, "station_mm": 0.0, "near_card": 1, "offset_mm": 0.0,
         "predicted_mm": 31.0, "predicted_u_mm": 1.0, "E_n": 1.9, "agrees": False}
    ]  # fmt: skip
    said = words(parsed(joint_html(advised)))
    first = said.index("LOWER FIRST: left notch 12 mm, then measure again")
    assert first < said.index("Cautions")
    assert "First: deepen the left notch by 12 mm" in said
    assert "then widest 30.0 ± 1.0 mm. " in said and "Make it fast and measure again." in said
    assert not re.search(r"\b(41|49|50|48.0) mm|LOWER IT FIRST|Setting needed|Other covers", said)
    assert "at card 1 35 mm 31.0 ± 2.0 mm DISAGREES, 1.9 times what both leave open" in said
    assert "E_n" not in said
    table = words(parsed(wall_html([advised])))
    assert "LOWER FIRST: left notch 12 mm, then measure again" in table
    advised.result["decision"]["lowering"]["ready"] = True
    said = words(parsed(joint_html(advised)))
    assert "80 mm 48.0 ± 2.0 mm 50 mm unknown unknown" in said
    assert "groove wide 142.4 mm at most 112 mm broken (99 in 100) Read: a source" in said


def test_a_wall_lists_its_logs_from_the_lowest_up():
    root = parsed(wall_html(wall()))
    rows = [
        [" ".join(cell.itertext()).replace("\xa0", " ") for cell in row.iter(f"{HTML}td")]
        for row in root.find(f".//{HTML}table").iter(f"{HTML}tr")
    ][1:]
    assert [row[0] for row in rows] == ["1", "2", "3", "4", "9", "10"]
    assert rows[0] == ["1", "SET 49 mm", "38.0 ± 1.8 mm", "measured", "2"]
    assert rows[2][1:4] == ["AT LEAST 49 mm", "38.0 ± 1.8 mm", "DOUBTFUL"]
    assert rows[3][1:4] == ["NO SETTING", "", "REFUSED"]


def test_a_wall_draws_its_courses_as_they_lie():
    drawing = parsed(wall_html(wall())).find(f".//{SVG}svg")
    names = [t for t in texts_by_height(drawing.find(f"{SVG}g")) if t.startswith("Log ")]
    assert [n.split(":")[0] for n in names] == ["Log 1", "Log 2", "Log 3", "Log 9", "Log 10"]
    # Upwards: the turn to SVG's downward y stands in the outer group's transform.
    assert drawing.find(f"{SVG}g").get("transform").startswith("scale(1,-1)")
    assert "AT LEAST 49 mm" in names[2]


def texts_by_height(outer):
    """The texts in a turned drawing from the lowest up; none of the same kind share a height."""
    found = []

    def collect(group, up):
        for element in group:
            if element.tag == f"{SVG}text":
                found.append((up + float(element.get("y")), element.text))
            elif element.tag == f"{SVG}g":
                moved = re.search(r"matrix\(1,0,0,1,0,([\d.]+)\)", element.get("transform", ""))
                collect(element, up + (float(moved[1]) if moved else 0.0))

    collect(outer, 0.0)
    heights = [up for up, text in found if text.startswith("Log ")]
    assert len(set(heights)) == len(heights)
    return [text for _, text in sorted(found)]


def test_no_more_logs_a_drawing_than_a_page_holds():
    drawings = list(parsed(wall_html([report(str(n)) for n in range(1, 17)])).iter(f"{SVG}svg"))
    assert len(drawings) == 3


def test_location_and_serial_numbers_never_reach_a_report(tmp_path):
    path = telling_photo(tmp_path / "told.jpg")
    assert PLACE in path.read_bytes() and SERIAL in path.read_bytes()
    text = joint_html(report(photos=(("told.jpg", scaled_photo(path)),)))
    held = [base64.b64decode(found) for found in re.findall(r'base64,([^"]+)"', text)]
    assert len(held) == 2
    for content in (text.encode(), *held):
        assert PLACE not in content and SERIAL not in content and b"Exif" not in content


def test_no_folder_of_a_computer_is_told():
    told = report()
    lost = {"file": "D:\\mine\\b.jpg", "sha256": "", "used": False, "lacked": ""}
    lost["lacked"] = f"There is no file {lost['file']}."
    told.result["photos"].append(lost)
    told.result["cautions"].append({"code": "left-out", "text": lost["lacked"]})
    text = joint_html(told)
    assert text.count("There is no file b.jpg.") == 2
    assert "mine\\" not in text


def test_a_date_needs_its_zone():
    with pytest.raises(ValueError, match="no zone"):
        report(date="2026-05-14T09:12:33")


@pytest.mark.skipif(CHROMIUM is None, reason="no browser here")
@pytest.mark.parametrize("page", EVERY_PAGE[1::4])  # a doubtful joint and a wall
def test_nothing_is_wider_than_a_phone(page, tmp_path):
    """In a frame of 390 px, as browsers' windows cannot be made that narrow."""
    frame = (
        f'<!DOCTYPE html><title>x</title><iframe id=f style="width:390px;height:900px;border:0" '
        f'srcdoc="{html_escapes.escape(page())}"></iframe><pre id=o></pre><script>f.onload=()=>'
        "{const d=f.contentDocument.documentElement;o.textContent=d.scrollWidth+' '+d.clientWidth}"
        "</script>"
    )
    (tmp_path / "frame.html").write_text(frame, encoding="utf-8")
    dom = subprocess.run(
        [
            CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=3000", "--dump-dom",
            (tmp_path / "frame.html").as_uri(),
        ],
        capture_output=True, text=True, timeout=60, check=True,
    ).stdout  # fmt: skip
    wide, shown = map(int, re.search(r'<pre id="o">(\d+) (\d+)</pre>', dom).groups())
    assert 370 <= shown <= 390 and wide == shown


def test_no_line_of_a_page_parts_a_number_and_its_unit():
    page = joint_html(report(status="doubtful"))
    body = page.partition("<main>")[2]
    assert "49\xa0mm" in body and "47.0\xa0±\xa02.0\xa0mm" in body and "card\xa01" in body
    assert not re.search(r"\d mm|± \d|card \d", re.sub(r"<svg.*?</svg>", "", body, flags=re.DOTALL))
