"""The report as PDF, rasterised and read back by another library."""

import numpy as np
import pypdfium2
import pytest
from helpers.reports import PLACE, SERIAL, jpegs, report, telling_photo

from gapvision.answer.evidence_text import REMINDER, SAFETY
from gapvision.answer.report.pdf import joint_pdf, wall_pdf
from gapvision.answer.report.photos import scaled_photo

# A4 is 210 x 297 mm (ISO 216:2007, table 1), size A is 8.5 x 11 in (ASME Y14.1).
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}


def text_of(content):
    with pypdfium2.PdfDocument(content) as pdf:
        pages = [page.get_textpage().get_text_bounded() for page in pdf]
    return " ".join(" ".join(pages).split())


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("units", ["mm", "in"])
def test_pages_are_the_paper_s_and_hold_the_answer(paper, units):
    for content in (
        joint_pdf(report(units=units), paper),
        wall_pdf([report(str(n), units=units) for n in range(1, 10)], paper),
    ):
        with pypdfium2.PdfDocument(content) as pdf:
            for page in pdf:
                size_mm = np.array(page.get_size()) * 25.4 / 72
                np.testing.assert_allclose(size_mm, PAPERS_MM[paper], atol=0.01)
        text = text_of(content)
        assert {"mm": "49 mm", "in": "1 15/16 in"}[units] in text
        assert REMINDER in text and SAFETY in text
        assert "Measured by" in text and "Cut by" in text


def test_it_says_what_the_html_says():
    text = text_of(joint_pdf(report(status="doubtful")))
    for said in (
        "Log 3, north wall, Barn", "AT LEAST 49 mm", "for a cover of 75 mm",
        "200 mm of the joint not seen", "38.0 ± 1.8 mm", "One photograph is not much.",
        "lens 4 mm above the gap's middle", "0.4°, foot out", "± holds 95 times in 100",
    ):  # fmt: skip
        assert said in text, said


def test_pictures_are_drawn_where_they_should_be():
    with pypdfium2.PdfDocument(joint_pdf(report())) as pdf:
        found = 0
        for page in pdf:
            height = page.get_size()[1]
            drawn = page.render(scale=2).to_numpy()
            for image in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]):
                left, bottom, right, top = image.get_bounds()
                part = drawn[int(2 * (height - top)) : int(2 * (height - bottom)),
                             int(2 * left) : int(2 * right)]  # fmt: skip
                assert right - left > 110 and top - bottom > 80  # points
                assert part.std() > 20
                found += 1
    assert found == 2  # the picture and one photograph


def test_the_doubtful_answer_is_yellow():
    def yellow(content):
        with pypdfium2.PdfDocument(content) as pdf:
            b, g, r = np.moveaxis(pdf[0].render(scale=1).to_numpy()[..., :3].astype(int), 2, 0)
        return ((abs(r - 240) < 8) & (abs(g - 228) < 8) & (abs(b - 66) < 8)).mean()

    assert yellow(joint_pdf(report(status="doubtful"))) > 0.05
    assert yellow(joint_pdf(report())) < 0.01


def test_letters_of_the_countries_that_build_with_logs():
    text = text_of(joint_pdf(report(building="Баня Łódź", wall="pohjoinen", log="6½")))
    assert "Log 6½, pohjoinen wall, Баня Łódź" in text
    # A sign that the font lacks is printed as a question mark.
    assert "Log ?, north wall, Barn" in text_of(joint_pdf(report(log="木")))


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("with_picture", [True, False])
def test_the_first_page_has_answer_sketch_and_signatures_the_second_the_evidence(
    paper, with_picture
):
    changes = {} if with_picture else {"picture": None}
    with pypdfium2.PdfDocument(joint_pdf(worst(**changes), paper)) as pdf:
        pages = [" ".join(p.get_textpage().get_text_bounded().split()) for p in pdf]
    assert len(pages) == 2
    first, second = pages
    for said in ("AT LEAST 49 mm", "To do", "Widest gap", SAFETY, "Measured by", "Cut by"):
        assert said in first and said not in second.replace(REMINDER, ""), said
    assert ("Gap between the logs" in first) is not with_picture
    for said in ("Cautions", "Photographs and cards", "How well it is known"):
        assert said in second, said


def worst(**changes):
    """A doubtful joint with long cautions, more than stand on the first page."""
    told = report(status="doubtful", **changes)
    long = (
        "From -718 mm to -508 mm the lines of sight touch the upper log only near the crown: " * 2
    )
    told.result["cautions"] += [{"code": "near-crown", "text": long} for _ in range(6)]
    told.result["to_do"] = [{"code": "photograph", "text": long + long} for _ in range(3)]
    return told


def test_what_was_typed_stays_text():
    evil = '<b>bold</b> & <img src="x"/> {x}'
    assert evil in text_of(joint_pdf(report(building=evil, outcomes=({"remarks": evil},))))


def test_refused_joints_and_missing_pictures():
    text = text_of(joint_pdf(report(refused="No card was found.", picture=None, photos=())))
    assert "NO SETTING REFUSED: No card was found." in text
    assert "Measured by" in text
    assert "REFUSED" in text_of(wall_pdf([report(refused="No card was found."), report("4")]))


def test_location_and_serial_numbers_never_reach_it(tmp_path):
    jpeg = scaled_photo(telling_photo(tmp_path / "told.jpg"))
    content = joint_pdf(report(photos=(("told.jpg", jpeg),)))
    with pypdfium2.PdfDocument(content) as pdf:
        held = [
            bytes(image.get_data())
            for page in pdf
            for image in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
        ]
    assert len(held) == 2
    for part in (content, *held):
        assert PLACE not in part and SERIAL not in part and b"Exif" not in part
    assert all(not image.getexif() for part in held for image in jpegs(part))


def test_an_unknown_paper():
    with pytest.raises(ValueError, match="a4, letter, not 'a3'"):
        joint_pdf(report(), "a3")
