#!/bin/sh
# Makes the GeoJSON and the second SVG beside it with programs of Debian: ogr2ogr
# (gdal-bin), which reads the DXF by itself, and inkscape, which makes paths of
# all shapes. Run: sh make_other.sh FOLDER, with the DXF files and hall.svg in it.
set -e
cd "${1:-$(dirname "$0")}"
if command -v ogr2ogr >/dev/null; then
	rm -f hall-mm.geojson hall-wgs84.geojson
	ogr2ogr --config DXF_MERGE_BLOCK_GEOMETRIES FALSE -f GeoJSON -select Layer -lco RFC7946=NO -lco COORDINATE_PRECISION=1 hall-mm.geojson hall-r2000.dxf
	# On the ground at an invented place: the hall's corner at 8.5° E, 47.3° N.
	ogr2ogr --config DXF_MERGE_BLOCK_GEOMETRIES FALSE -f GeoJSON -select Layer -lco RFC7946=YES -lco COORDINATE_PRECISION=9 hall-wgs84.geojson hall-r2000.dxf \
		-s_srs '+proj=aeqd +lat_0=47.3 +lon_0=8.5 +x_0=412 +y_0=87 +datum=WGS84 +to_meter=0.001' -t_srs EPSG:4326
fi
if command -v inkscape >/dev/null; then
	inkscape hall.svg --actions='select-by-element:text;delete;select-all:all;object-to-path' --export-plain-svg --export-filename=hall-paths.svg
fi
if command -v rsvg-convert >/dev/null; then
	rsvg-convert -b white -w 594 hall.svg -o hall.png
fi
