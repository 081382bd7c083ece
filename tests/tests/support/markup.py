"""Reads what the gateway wrote with parsers that are not its own (Python's html.parser and expat).

Standard input: a JSON list of {"name", "kind": "html" | "svg", "body", "holds": [texts]}.
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


class Reader(html.parser.HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.faults, self.text = [], [], []

    def handle_starttag(self, tag, attributes):
        if tag not in ALLOWED:
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
        self.text.append(data)


def read_html(body):
    reader = Reader()
    reader.feed(body)
    reader.close()
    if reader.open:
        reader.faults.append(f"never closed: {reader.open}")
    return reader.faults, "".join(reader.text)


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
        faults, text = (read_html if item["kind"] == "html" else read_svg)(item["body"])
    except xml.etree.ElementTree.ParseError as error:
        faults, text = [f"no XML: {error}"], ""
    faults += [f"«{wanted}» is not in the text" for wanted in item["holds"] if wanted not in text]
    for fault in faults:
        print(f"{item['name']}: {fault}")
