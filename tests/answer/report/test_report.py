"""The report as HTML: valid, self-contained, and saying what the answer says."""

import base64
import html as html_escapes
import re
import shutil
import subprocess

import html5lib
import numpy as np
import pytest
from helpers.joints import joint
from helpers.reports import PLACE, SERIAL, report, telling_photo

from gapvision.advice.to_do import Step
from gapvision.answer.as_json import answer_json
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
    assert answer.get("class") == "answer set"
    first, second, third = (" ".join(p.itertext()).replace("\xa0", " ") for p in answer)
    assert first == "SET 49 mm"
    assert second == (
        "Decided 440 mm left of card 1, seen from outside: needs 47.0 ± 2.0 mm for a cover of 75 mm. "
        "(± holds 95 times in 100.)"
    )
    assert third.startswith("CRAYON: set 49 | cover 75 |")


def test_what_to_do_follows_the_answer_and_none_is_made_up_for_old_files():
    told = report()
    told.result["to_do"] = [{"code": "read", "text": "Put the caliper in."}]
    said = words(parsed(joint_html(told)))
    assert (
        said.index("SET 49 mm") < said.index("To do Put the caliper in.") < said.index("Cautions")
    )
    assert "To do" not in words(parsed(joint_html(report())))


def test_answer_sketch_and_signatures_come_before_the_evidence():
    root = parsed(joint_html(report()))
    main = list(root.find(f".//{HTML}main"))
    evidence = next(k for k, e in enumerate(main) if e.get("class") == "evidence")
    assert evidence == len(main) - 1
    first = [e.get("class") for e in main[:evidence]]
    assert "answer set" in first and "sign" in first
    (sketch,) = [e for e in root.iter(f"{HTML}figure") if e.get("class") == "sketch"]
    assert sketch in list(root.iter()) and not list(main[evidence].iter(f"{SVG}svg"))


def test_the_profile_stands_once():
    """The picture shows it; where there is none it is drawn."""
    assert "<svg" not in joint_html(report())
    assert joint_html(report(picture=None)).count("<svg") == 1


def test_doubtful_and_refused_cannot_be_mistaken():
    doubtful = joint_html(report(status="doubtful"))
    assert '<div class="answer at-least">' in doubtful
    said = words(parsed(doubtful))
    assert "AT LEAST 49 mm 200 mm of the joint not seen: it may need more there." in said
    assert "lower bound" not in said and "READY" not in said and "SET 49 mm" not in said
    refused = words(parsed(joint_html(report(refused="No card was found."))))
    assert "NO SETTING REFUSED: No card was found." in refused
    assert "SET " not in refused


@pytest.mark.parametrize("code", ["misfit", "log-moved", "trial-disagrees"])
def test_where_the_data_contradict_there_is_no_setting(code):
    """It is not even a lower bound."""
    doubtful = report(status="doubtful", picture=None)
    doubtful.result["cautions"].append({"code": code, "text": "They contradict."})
    text = joint_html(doubtful)
    said = words(parsed(text))
    assert '<div class="answer measure-again">' in text
    assert "There is no setting until that is cleared." in said.partition("MEASURE AGAIN")[2]
    assert not re.search(r"\b49 mm", text) and "CRAYON: MEASURE AGAIN" in said
    assert not re.search("AT LEAST|Setting needed|Narrowest groove|READY|Groove width", said)
    assert "38.0 ± 1.8 mm" in said
    table = words(parsed(wall_html([doubtful])))
    assert "MEASURE AGAIN" in table and not re.search(r"\b49 mm", table)


@pytest.mark.parametrize("status", ["measured", "doubtful"])
def test_everything_is_said(status):
    said = words(parsed(joint_html(report(status=status, missing=("above.jpg: not found.",)))))
    for text in (
        "Log 3, north wall, Barn", "38.0 ± 1.8 mm", "47.0 ± 2.0 mm", "80.0 ± 3.9 mm",
        "390 mm left of card 2, seen from outside", "2026-05-14 09:12 (UTC+02:00)", "gapvision 0.1.0",
        "lens 4 mm above the gap's middle", "1500 mm away", "above.jpg: not found.",
        "Out of plumb", "0.4°, foot out", "One photograph is not much.", "± holds 95 times in 100", "hollow",
        "1.65 times 1.0 mm (its ± at 68 times in 100)", REMINDER, SAFETY, "Measured by",
        "Cut by", "Date",
    ):  # fmt: skip
        assert text in said, text


def test_inches_are_inches_everywhere():
    said = words(parsed(joint_html(report(units="in"))))
    assert "SET 1 15/16 in" in said
    # The cover of 75 mm is no whole sixteenth and keeps its mm; nothing else is in mm.
    assert "mm" not in said.replace("(75 mm)", "")


def test_the_profile_has_band_cover_and_marks():
    root = parsed(joint_html(report(status="doubtful", picture=None)))
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


def test_an_old_picture_is_left_out_where_it_may_tell_a_setting_that_is_none():
    old = report(status="doubtful")
    old.result["cautions"].append({"code": "misfit", "text": "They contradict."})
    assert "<svg" not in joint_html(old)  # as drawn by this program
    del old.result["verdict"]
    assert "<svg" in joint_html(old)


def advised(ready):
    """A joint of which is told whether to scribe it as it lies."""
    advised = report(picture=None)
    advised.result["decision"] = {
        "lowering": {
            "ready": ready, "wanted_widest_mm": 30.0, "left_mm": 12.0, "right_mm": 0.0,
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
    return advised


def test_what_follows_and_what_was_measured_by_hand_are_told():
    told = advised(ready=True)
    said = words(parsed(joint_html(told)))
    assert "80 mm 48.0 ± 2.0 mm 50 mm unknown unknown" in said
    assert "groove wide 142.4 mm at most 112 mm broken (99 in 100) Read: a source" in said
    assert "at card 1 35 mm 31.0 ± 2.0 mm DISAGREES, 1.9 times what both leave open" in said


def test_where_the_log_is_to_be_lowered_first_there_is_no_setting():
    """Not as the log lies (49 mm), nor what it would be then (41 mm), nor of another cover (50 mm)."""
    first = advised(ready=False)
    for text in (joint_html(first), wall_html([first])):
        said = words(parsed(text))
        assert "LOWER FIRST: left notch 12 mm, then measure again" in said.replace("\xa0", " ")
        assert not re.search(r"\b(49|41|50|48.0) mm", text)
        for other in ("SET", "CRAYON: set", "READY", "Groove width", "AT LEAST", "1.65", REMINDER):
            assert other not in said, other
        assert SAFETY in said
    said = words(parsed(joint_html(first)))
    assert (
        said.index("LOWER FIRST") < said.index("CRAYON: LOWER FIRST: L 12") < said.index("Cautions")
    )
    assert "First: deepen the left notch by 12 mm" in said
    assert "then widest 30.0 ± 1.0 mm" in said


def test_a_wall_lists_its_logs_from_the_lowest_up():
    root = parsed(wall_html(wall()))
    rows = [
        [" ".join(cell.itertext()).replace("\xa0", " ") for cell in row.iter(f"{HTML}td")]
        for row in root.find(f".//{HTML}table").iter(f"{HTML}tr")
    ][1:]
    assert [row[0] for row in rows] == ["1", "2", "3", "4", "9", "10"]
    at = "440 mm left of card 1"
    assert rows[0] == ["1", "SET 49 mm", "75 mm", at, "38.0 ± 1.8 mm", "not told"]
    assert rows[2][1:] == ["AT LEAST 49 mm", "75 mm", at, "38.0 ± 1.8 mm", "not told"]
    assert rows[3][1:] == ["NO SETTING", "", "", "", "not told"]


def test_a_wall_tells_which_settings_are_not_ready():
    step = Step("prepare", {"text": "State the notches."})
    not_ready = report(result=answer_json(joint(to_do=(step,))))
    said = words(parsed(wall_html([not_ready, report("4")]))).replace("\xa0", " ")
    assert said.count("SET 49 mm, not ready") == 1


def test_a_wall_tells_what_came_of_each_log():
    told = (
        {"date": "2026-06-01", "setting_used_mm": 50.0, "remarks": "closed"},
        {"date": "2026-06-02", "setting_used_mm": 51.0, "narrowest_cover_mm": 74.0,
         "open_places": [{"from_mm": 0.0, "to_mm": 90.0}, {"from_mm": 500.0, "to_mm": 560.0}]},
    )  # fmt: skip
    said = words(parsed(wall_html([report(outcomes=told)])))
    assert "set 51 mm; narrowest 74 mm; open at 2 places; closed" in said


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


@pytest.mark.parametrize(
    ("date", "said"),
    [
        ("2026-05-14T09:12:33+02:00", "2026-05-14 09:12 (UTC+02:00)"),
        ("2026-05-14T09:12:33-03:30", "2026-05-14 09:12 (UTC-03:30)"),
        ("2026-05-14T09:12:33+00:00", "2026-05-14 09:12 (UTC)"),
        ("2026-05-14T09:12:33Z", "2026-05-14 09:12 (UTC)"),
        ("", "Measured not stated"),
    ],
)
def test_the_time_is_the_place_s_own_with_its_offset(date, said):
    assert said in words(parsed(joint_html(report(date=date))))


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
