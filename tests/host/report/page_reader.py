"""A page taken apart by html.parser, and everything that must hold of any of our pages."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from itertools import pairwise

VOID = {"meta", "link", "br", "img", "input", "hr", "wbr"}
LINKS = {"href", "src", "srcset", "action", "formaction", "data", "poster", "background",
         "xlink:href", "cite", "ping", "manifest", "content"}
ALLOWED = {
    "html", "head", "meta", "title", "style", "body", "a", "header", "footer", "main", "nav",
    "section", "div", "p", "span", "b", "bdi", "ul", "ol", "li", "h1", "h2", "h3", "figure",
    "figcaption", "details", "summary", "table", "caption", "thead", "tbody", "tr", "th", "td",
    "svg", "desc", "defs", "pattern", "path", "circle", "rect", "line", "text", "use", "br",
}

WITH_SCRIPT = {"script", "button", "input", "label", "g", "polygon"}


class Reader(HTMLParser):
    """Elements as (tag, attributes, depth of svg, text), in order; faults where tags do not
    close in turn."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[dict] = []
        self.open: list[dict] = []
        self.faults: list[str] = []
        self.declared = ""
        self.feed(page)
        self.close()
        self.faults += [f"{e['tag']} is never closed" for e in self.open]

    def handle_decl(self, decl):
        self.declared = decl

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        if len(names) != len(set(names)):
            self.faults.append(f"{tag} has an attribute twice: {names}")
        element = {"tag": tag, "at": dict(attrs), "text": "",
                   "inside": [e["tag"] for e in self.open],
                   "parent": self.open[-1] if self.open else None}
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open[-1]["tag"] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1]['tag'] if self.open else None}")
            return
        self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["text"] += data

    def all(self, *tags):
        return [e for e in self.elements if e["tag"] in tags]


def faults(page: str, *, script: bool = False) -> list[str]:
    """Whatever is wrong with a page of ours; script: one inline script is allowed."""
    found = Reader(page)
    wrong = list(found.faults)
    if found.declared.lower() != "doctype html":
        wrong.append(f"doctype: {found.declared}")
    wrong += _nothing_runs(found, script)
    wrong += _names(found)
    wrong += _tables_and_headings(found)
    return wrong


def _nothing_runs(found: Reader, script: bool) -> list[str]:
    wrong = []
    allowed = ALLOWED | (WITH_SCRIPT if script else set())
    for e in found.elements:
        if e["tag"] not in allowed:
            wrong.append(f"element {e['tag']}")
        for name, value in e["at"].items():
            if name.startswith("on") or name == "style":
                wrong.append(f"attribute {name} of {e['tag']}")
            if name in LINKS and not (value or "").startswith("#") and e["tag"] != "meta":
                wrong.append(f"{e['tag']} {name} leads to {value}")
            if re.search(r"url\((?!#)", value or "") or "javascript:" in (value or "").lower():
                wrong.append(f"{e['tag']} {name}: {value}")
    if len(found.all("script")) > script:
        wrong.append("a script")
    styles = "".join(e["text"] for e in found.all("style"))
    if re.search(r"@import|url\(|expression|http", styles):
        wrong.append("the style loads something")
    policies = [e["at"].get("content") or "" for e in found.all("meta")
                if (e["at"].get("http-equiv") or "").lower() == "content-security-policy"]
    parts = dict(p.strip().split(" ", 1) for p in "".join(policies).split(";"))
    mark = {tag: "".join(_hash(e["text"]) for e in found.all(tag)) for tag in ("style", "script")}
    wanted = {"default-src": "'none'", "style-src": mark["style"], "base-uri": "'none'",
              "form-action": "'none'"} | ({"script-src": mark["script"]} if script else {})
    if parts != wanted:
        wrong.append(f"policy {parts}")
    if any((e["at"].get("http-equiv") or "").lower() not in {"", "content-security-policy"}
           for e in found.all("meta")):
        wrong.append("a meta that does something")
    return wrong


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def _names(found: Reader) -> list[str]:
    """Ids once, every reference met, each drawing and figure with its words."""
    ids = [e["at"]["id"] for e in found.elements if "id" in e["at"]]
    wrong = [f"id {i} twice" for i in set(ids) if ids.count(i) > 1]
    by_id = {e["at"]["id"]: e for e in found.elements if "id" in e["at"]}
    for e in found.elements:
        at = e["at"]
        aims = re.findall(r"url\(#([^)]*)\)", " ".join(v or "" for v in at.values()))
        aims += (at.get("aria-labelledby") or "").split()
        aims += [at["href"][1:]] if (at.get("href") or "").startswith("#") else []
        wrong += [f"{e['tag']} points to no {aim}" for aim in aims if aim not in by_id]
        if e["tag"] == "svg" and "svg" not in e["inside"]:
            named = [by_id[i]["text"].strip() for i in (at.get("aria-labelledby") or "").split()
                     if i in by_id]
            if not (at.get("role") == "img" and named and all(named)):
                wrong.append("a drawing without a name")
        if e["tag"] == "img" and not at.get("alt"):
            wrong.append("an img without alt")
        if e["tag"] == "section" and not at.get("aria-labelledby"):
            wrong.append("a section without a name")
    for figure in found.all("figure"):
        caption = [c for c in found.all("figcaption") if c["parent"] is figure]
        if len(caption) != 1 or not caption[0]["text"].strip():
            wrong.append("a figure without a caption")
    html = found.all("html")
    if not html or html[0]["at"].get("lang") != "en":
        wrong.append("no language")
    if not found.all("title") or not found.all("title")[0]["text"].strip():
        wrong.append("no title")
    return wrong


def _tables_and_headings(found: Reader) -> list[str]:
    wrong = []
    for table in found.all("table"):
        captions = [c for c in found.all("caption") if c["parent"] is table]
        if len(captions) != 1 or not captions[0]["text"].strip():
            wrong.append("a table without a caption")
    wrong += [f"th without scope: {e['text']}" for e in found.all("th")
              if e["at"].get("scope") not in {"col", "row"}]
    levels = [int(e["tag"][1]) for e in found.all("h1", "h2", "h3", "h4")]
    if levels[:1] != [1] or levels.count(1) != 1:
        wrong.append(f"headings begin {levels[:3]}")
    wrong += [f"heading h{b} after h{a}" for a, b in pairwise(levels)
              if b > a + 1]
    wrong += ["an empty heading" for e in found.all("h1", "h2", "h3") if not e["text"].strip()]
    return wrong


# ---- contrast, by WCAG 2.2's definitions of relative luminance and contrast ratio


def luminance(color: str) -> float:
    def linear(part: int) -> float:
        share = part / 255
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(color[i : i + 2], 16)) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
