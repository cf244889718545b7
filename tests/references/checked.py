"""Reads PDF files with qpdf: a list of file names on standard input, a list of what they hold on standard output.

A document has its "problems" (what `qpdf --check` would tell), its "bookmarks" ([title, index of the page]), its "labels", one
a page, its "layers" by name, and its "scaling" in a print dialogue.
"""

import json
import sys

import pikepdf


def bookmarks(pdf):
    found = []

    def walk(items):
        for item in items:
            destination = item.destination if item.destination is not None else item.action.D
            found.append([str(item.title), pikepdf.Page(destination[0]).index])
            walk(item.children)

    with pdf.open_outline() as outline:
        walk(outline.root)
    return found


def read(file):
    with pikepdf.open(file) as pdf:
        root = pdf.Root
        return {
            "problems": [str(problem) for problem in pdf.check_pdf_syntax()] + [str(w) for w in pdf.get_warnings()],
            "bookmarks": bookmarks(pdf),
            "labels": [page.label for page in pdf.pages],
            "layers": sorted(str(layer.Name) for layer in root.OCProperties.OCGs),
            "scaling": str(root.ViewerPreferences.PrintScaling),
        }


json.dump([read(file) for file in json.load(sys.stdin)], sys.stdout)
