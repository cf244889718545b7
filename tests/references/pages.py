"""Reads PDF files with PDFium: a list of file names on standard input, a list of what they hold on standard output.

A document has its "metadata", its "bookmarks" ([title, index of the page]), whether a print dialogue starts without
scaling ("unscaled"), and "pages". A page has its "size_mm", its "label", its "text", the fonts of its text objects as
{name: embedded}, and its "paths", each with the "grey" of its stroke, 0 to 255, and with "d": SVG path data in
millimetres from the page's top left corner, y down, all matrices applied.
"""

import ctypes
import json
import sys

import pypdfium2
import pypdfium2.raw as pdfium

MM = 25.4 / 72


def to_page(thing):
    """From the object's own units to points of the page, through every form it lies in."""
    matrix = thing.get_matrix()
    while thing.container:
        thing = thing.container
        matrix = matrix.multiply(thing.get_matrix())
    return matrix


def path_data(thing, height):
    matrix = to_page(thing)
    letters = {
        pdfium.FPDF_SEGMENT_MOVETO: "M",
        pdfium.FPDF_SEGMENT_LINETO: "L",
        pdfium.FPDF_SEGMENT_BEZIERTO: "C",
    }
    words, curve = [], 0
    for index in range(pdfium.FPDFPath_CountSegments(thing)):
        segment = pdfium.FPDFPath_GetPathSegment(thing, index)
        x, y = ctypes.c_float(), ctypes.c_float()
        assert pdfium.FPDFPathSegment_GetPoint(segment, x, y)
        x, y = matrix.on_point(x.value, y.value)
        # A curve is three segments in a row.
        letter = letters[pdfium.FPDFPathSegment_GetType(segment)]
        curve = curve + 1 if letter == "C" else 0
        words.append("" if letter == "C" and curve % 3 != 1 else letter)
        words.append(f"{x * MM:.5f} {height - y * MM:.5f}")
        if pdfium.FPDFPathSegment_GetClose(segment):
            words.append("Z")
    return " ".join(words)


def grey(thing):
    parts = [ctypes.c_uint() for _ in range(4)]
    assert pdfium.FPDFPageObj_GetStrokeColor(thing, *parts)
    red, green, blue, _ = (part.value for part in parts)
    assert red == green == blue
    return red


def read_page(document, index):
    page = document[index]
    width, height = (side * MM for side in page.get_size())
    text = page.get_textpage()
    answer = {"size_mm": [width, height], "label": document.get_page_label(index), "fonts": {}, "paths": []}
    answer["text"] = text.get_text_range()
    for thing in page.get_objects(textpage=text):
        if thing.type == pdfium.FPDF_PAGEOBJ_PATH:
            answer["paths"].append({"grey": grey(thing), "d": path_data(thing, height)})
        elif thing.type == pdfium.FPDF_PAGEOBJ_TEXT:
            font = thing.get_font()
            answer["fonts"][font.get_base_name()] = font.is_embedded
        else:
            assert thing.type == pdfium.FPDF_PAGEOBJ_FORM, thing.type
    return answer


def read(file):
    document = pypdfium2.PdfDocument(file)
    return {
        "metadata": document.get_metadata_dict(skip_empty=True),
        "bookmarks": [[entry.get_title(), entry.get_dest().get_index()] for entry in document.get_toc()],
        "unscaled": not pdfium.FPDF_VIEWERREF_GetPrintScaling(document),
        "pages": [read_page(document, index) for index in range(len(document))],
    }


json.dump([read(file) for file in json.load(sys.stdin)], sys.stdout)
