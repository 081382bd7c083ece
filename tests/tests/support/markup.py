"""Reads what the gateway wrote with parsers that are not its own (Python's html.parser and expat).

Standard input: a JSON list of {"name", "kind": "html" | "sheet" | "svg", "body", "holds": [texts]};
a sheet is for paper: it has a style of its own and pictures in it.
Prints what is wrong, one line each; nothing where all is well.
"""

import html.parser
import json
import re
import sys
import xml.etree.ElementTree

# HTML Living Standard, 13.1.2: elements that have no end tag.
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
# What a message may be made of; mail programs drop or refuse the rest.
ALLOWED = {"html", "head", "meta", "title", "body", "table", "tr", "td", "th", "div", "strong", "ol", "li", "a", "img", "br"}
# What a sheet may be made of beside that.
PAPER = {"style", "main", "h1", "h2", "p", "ul", "svg", "desc", "text", "polygon", "polyline", "circle", "path", "line", "rect", "g"}


class Reader(html.parser.HTMLParser):
    def __init__(self, allowed):
        super().__init__(convert_charrefs=True)
        self.allowed = allowed
        self.open, self.faults, self.text = [], [], []

    def handle_starttag(self, tag, attributes):
        if tag not in self.allowed:
            self.faults.append(f"element {tag}")
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attributes:
            value = value or ""
            if name.startswith("on"):
                self.faults.append(f"attribute {name}")
            if name == "src" and not value.startswith("cid:"):
                self.faults.append(f"fetches {value}")
            if name == "href" and not re.match("https?://", value):
                self.faults.append(f"links to {value}")
            if name == "style" and re.search(r"url\s*\(|expression|@import", value):
                self.faults.append(f"style {value}")
            if name == "alt":
                self.text.append(value)

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes another element")

    def handle_data(self, data):
        if self.open and self.open[-1] == "style" and re.search(r"url\s*\(|expression|@import|@font-face", data):
            self.faults.append("a style that fetches")
        self.text.append(data)


def read_html(body, allowed=ALLOWED):
    reader = Reader(allowed)
    reader.feed(body)
    reader.close()
    if reader.open:
        reader.faults.append(f"never closed: {reader.open}")
    return reader.faults, "".join(reader.text)


def read_sheet(body):
    return read_html(body, ALLOWED | PAPER)


def read_svg(body):
    space = "{http://www.w3.org/2000/svg}"
    faults = []
    root = xml.etree.ElementTree.fromstring(body)
    if root.tag != space + "svg":
        faults.append(f"root {root.tag}")
    for name in ("title", "desc"):
        found = root.find(space + name)
        if found is None or not found.text:
            faults.append(f"no {name}")
    for element in root.iter():
        if element.tag == space + "script":
            faults.append("a script")
        for name in element.attrib:
            if name.startswith("on") or name.endswith("href") or name == "style":
                faults.append(f"attribute {name}")
    return faults, "".join(root.itertext())


for item in json.load(sys.stdin):
    try:
        faults, text = {"html": read_html, "sheet": read_sheet, "svg": read_svg}[item["kind"]](item["body"])
    except xml.etree.ElementTree.ParseError as error:
        faults, text = [f"no XML: {error}"], ""
    faults += [f"«{wanted}» is not in the text" for wanted in item["holds"] if wanted not in text]
    for fault in faults:
        print(f"{item['name']}: {fault}")
