"""STL and 3MF files of bodies, the same bytes for the same body.

STL: the binary form, 80 bytes of text first. 3MF: the core specification of the 3MF Consortium
(3D Manufacturing Format 1.2), a zip with the model as XML, millimetres.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_STL = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
_TYPES = ('<?xml version="1.0" encoding="UTF-8"?>\n'
          '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
          '<Default Extension="rels" ContentType='
          '"application/vnd.openxmlformats-package.relationships+xml"/>'
          '<Default Extension="model" ContentType='
          '"application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n')
_RELS = ('<?xml version="1.0" encoding="UTF-8"?>\n'
         '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
         '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
         'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
         '</Relationships>\n')
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the first day a zip can name


def stl(vertices: Floats, triangles: Whole, title: str) -> bytes:
    """A binary STL file; title: ASCII, cut to 80 bytes.

    >>> one = stl(np.eye(3), np.array([[0, 1, 2]]), "a corner")
    >>> len(one), one[:8]
    (134, b'a corner')
    """
    corners = vertices[triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    rows = np.zeros(len(triangles), dtype=_STL)
    rows["normal"] = normal / np.where(length > 0, length, 1.0)
    rows["corners"] = corners
    # a file that begins with "solid" is taken for the text form by some programs
    head = title.encode("ascii", "replace")
    head = (b"part " + head if head.startswith(b"solid") else head)[:80].ljust(80)
    return head + np.uint32(len(triangles)).tobytes() + rows.tobytes()


def three_mf(objects: Sequence[tuple[str, Floats, Whole, Sequence[tuple[float, float]]]],
             metadata: Mapping[str, str]) -> bytes:
    """A 3MF file. objects: name, vertices, triangles, and where each copy of it lies [mm].
    metadata: what the format knows ("Title", "Description", "Designer", ...)."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>',
             '<model unit="millimeter" xml:lang="en-US" '
             'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">']
    lines += [f"<metadata name={quoteattr(k)}>{escape(v)}</metadata>"
              for k, v in metadata.items()]
    lines.append("<resources>")
    items = []
    for number, (name, vertices, triangles, places) in enumerate(objects, start=1):
        lines.append(f'<object id="{number}" name={quoteattr(name)} type="model"><mesh>'
                     "<vertices>")
        lines.append(_rows('<vertex x="%.4f" y="%.4f" z="%.4f"/>', vertices + 0.0))
        lines.append("</vertices><triangles>")
        lines.append(_rows('<triangle v1="%d" v2="%d" v3="%d"/>', triangles))
        lines.append("</triangles></mesh></object>")
        items += [f'<item objectid="{number}" transform="1 0 0 0 1 0 0 0 1 {x:.2f} {y:.2f} 0"/>'
                  for x, y in places]
    lines += ["</resources><build>", *items, "</build></model>", ""]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=2) as file:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELS),
                           ("3D/3dmodel.model", "\n".join(lines))):
            entry = zipfile.ZipInfo(name, date_time=_LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            file.writestr(entry, text)
    return packed.getvalue()


def _rows(form: str, table: Floats | Whole) -> str:
    """A line for each row, formatted in one go, which is quicker."""
    return "\n".join([form] * len(table)) % tuple(table.ravel().tolist())


def spread(sizes: Sequence[tuple[float, float]], counts: Sequence[int], bed_mm: float,
           gap_mm: float = 6.0) -> list[list[tuple[float, float]]]:
    """Where each copy of each object lies: rows of the bed's width, one behind the other, as
    many beds deep as it takes.

    >>> spread([(10, 10), (8, 4)], [1, 2], 32)
    [[(0.0, 0.0)], [(16.0, 0.0), (0.0, 16.0)]]
    """
    x = y = deep = 0.0
    places = []
    for (width, depth), count in zip(sizes, counts, strict=True):
        here = []
        for _ in range(count):
            if x > 0 and x + width > bed_mm:
                x, y, deep = 0.0, y + deep + gap_mm, 0.0
            here.append((x, y))
            x, deep = x + width + gap_mm, max(deep, depth)
        places.append(here)
    return places
