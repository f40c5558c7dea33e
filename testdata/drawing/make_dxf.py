#!/usr/bin/python3
"""Makes the DXF files beside it with ezdxf (Debian: python3-ezdxf).

The hall is invented: 24 by 15 m, a rounded corner, a courtyard, walls of three
materials, doors as blocks, access points as blocks with an attribute, points as
circles with a text beside them. All in millimetres, far from the origin, as
drawings are. Run: /usr/bin/python3 make_dxf.py FOLDER
"""
import os
import sys

import ezdxf

X, Y = 412000.0, 87000.0  # the hall's lower left in the drawing


def at(x, y):
    return (X + 1000 * x, Y + 1000 * y)


def layers(doc):
    for name in ("OUTER", "BRICK", "PLASTERBOARD", "GLASS", "DOORS", "AP", "POINTS", "FURNITURE", "COURT"):
        doc.layers.add(name)
    doc.layers.get("FURNITURE").off()


def hall(version):
    doc = ezdxf.new(version, setup=False)
    if version != "R12":
        doc.header["$INSUNITS"] = 4
    layers(doc)
    msp = doc.modelspace()
    new = version != "R12"

    def poly(points, layer, close=False):
        if new:
            msp.add_lwpolyline(points, format="xyb", close=close, dxfattribs={"layer": layer})
        else:
            msp.add_polyline2d(points, format="xyb", close=close, dxfattribs={"layer": layer})

    # The outline: lines and an arc of 3 m in the upper right, ends 2 mm apart.
    c = [at(0, 0), at(24, 0), at(24, 12), at(21, 15), at(0, 15)]
    att = {"layer": "OUTER"}
    msp.add_line(c[0], c[1], dxfattribs=att)
    msp.add_line((c[1][0] + 2, c[1][1]), c[2], dxfattribs=att)
    msp.add_arc(at(21, 12), 3000, 0, 90, dxfattribs=att)
    msp.add_line(c[4], c[3], dxfattribs=att)  # drawn the other way
    msp.add_line(c[4], c[0], dxfattribs=att)

    # Walls.
    poly([(*at(8, 0), 0), (*at(8, 9), 0), (*at(0, 9), 0)], "BRICK")
    poly([(*at(16, 15), 0), (*at(16, 10), 0)], "PLASTERBOARD")
    poly([(*at(16, 8), 0), (*at(16, 6), 0), (*at(24, 6), 0)], "PLASTERBOARD")
    # A bay: half a circle of 1.5 m radius, bulge 1, seen from (10, 0) to (13, 0).
    poly([(*at(10, 0), -1.0), (*at(13, 0), 0)], "GLASS")
    # A wall of no length, one drawn twice, one that leaves the hall.
    msp.add_line(at(5, 5), at(5, 5), dxfattribs={"layer": "BRICK"})
    msp.add_line(at(2, 9), at(2, 15), dxfattribs={"layer": "BRICK"})
    msp.add_line(at(2, 15), at(2, 9), dxfattribs={"layer": "BRICK"})
    msp.add_line(at(20, 6), at(20, -3), dxfattribs={"layer": "PLASTERBOARD"})
    poly([(*at(10, 10), 0), (*at(13, 10), 0), (*at(13, 13), 0), (*at(10, 13), 0)], "COURT", close=True)

    # A block of two rooms' partition, scaled, turned, mirrored and nested.
    part = doc.blocks.new("PARTITION", base_point=(10, 0))
    part.add_line((10, 0), (10, 100), dxfattribs={"layer": "0"})
    part.add_line((10, 100), (60, 100), dxfattribs={"layer": "GLASS"})
    pair = doc.blocks.new("PAIR")
    pair.add_blockref("PARTITION", (0, 0), dxfattribs={"layer": "0"})
    pair.add_blockref("PARTITION", (200, 0), dxfattribs={"layer": "0", "xscale": -1})
    msp.add_blockref("PAIR", at(3, 2), dxfattribs={"layer": "PLASTERBOARD", "xscale": 10, "yscale": 10, "rotation": 90})

    # Doors and furniture: nothing for a plan of walls.
    door = doc.blocks.new("DOOR")
    door.add_arc((0, 0), 900, 0, 90, dxfattribs={"layer": "0"})
    msp.add_blockref("DOOR", at(16, 8), dxfattribs={"layer": "DOORS", "rotation": 90})
    msp.add_circle(at(4, 12), 600, dxfattribs={"layer": "FURNITURE"})

    # Access points: a symbol with an attribute; the last one in a drawing-wide array.
    symbol = doc.blocks.new("SYMBOL")
    symbol.add_circle((0, 0), 150, dxfattribs={"layer": "0"})
    symbol.add_line((-150, 0), (150, 0), dxfattribs={"layer": "0"})
    symbol.add_attdef("ID", (0, 200), dxfattribs={"height": 200})
    for name, x, y in (("AP-N", 4, 13), ("AP-S", 12, 4), ("AP-E", 21, 10)):
        ref = msp.add_blockref("SYMBOL", at(x, y), dxfattribs={"layer": "AP"})
        ref.add_auto_attribs({"ID": name})

    # Points: circles with a text beside them, one outside.
    for name, x, y in (("P 1", 2, 2), ("P 2", 12, 7), ("P 3", 22, 3), ("P 4", 40, 3)):
        msp.add_circle(at(x, y), 100, dxfattribs={"layer": "POINTS"})
        msp.add_text(name, dxfattribs={"layer": "POINTS", "height": 250, "insert": at(x + 0.2, y + 0.2)})
    if new:
        msp.add_ellipse(at(19, 2.5), (1500, 0), 0.5, dxfattribs={"layer": "GLASS"})
        s = msp.add_spline(dxfattribs={"layer": "GLASS"})
        s.set_open_uniform([at(9, 1), at(9, 3), at(11, 3), at(11, 1)], degree=3)
        # An arc of an entity seen from below: centre (-x, y) in its own coordinates.
        cx, cy = at(18, 12)
        msp.add_arc((-cx, cy), 1000, 0, 180, dxfattribs={"layer": "GLASS", "extrusion": (0, 0, -1)})
        msp.add_hatch(dxfattribs={"layer": "FURNITURE"}).paths.add_polyline_path([at(1, 1), at(2, 1), at(2, 2)], is_closed=True)
    return doc


if __name__ == "__main__":
    out = sys.argv[1] if len(sys.argv) > 1 else os.path.dirname(os.path.abspath(__file__))
    ezdxf.options.write_fixed_meta_data_for_testing = True
    for version in ("R12", "R2000", "R2018"):
        hall(version).saveas(os.path.join(out, "hall-%s.dxf" % version.lower()))
