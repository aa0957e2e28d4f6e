#!/usr/bin/env bash
# Converts some of the other files here with LibreOffice (Debian: libreoffice-calc), as an operator's office would save them.
# Run after make.py; the results are kept beside it, so that the tests do not need LibreOffice.
set -eu
cd "$(dirname "$0")"
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
convert() { # source, kind[:filter], name, filter to read with
    soffice --headless ${4:+"--infilter=$4"} "-env:UserInstallation=file://$out/profile" --convert-to "$2" --outdir "$out" "$1" >/dev/null 2>&1
    base=$(basename "$1")
    mv "$out/${base%.*}.${2%%:*}" "$3"
}
# Tokens of the csv filter: delimiter, quote, character set (76 UTF-8, 1 Windows-1252), first line, columns, language, quote all, as shown.
convert openpyxl.xlsx ods libreoffice.ods
convert pandas.ods xlsx libreoffice.xlsx
convert openpyxl.xlsx 'csv:Text - txt - csv (StarCalc):44,34,76,1,,1033,false,true' libreoffice.csv
convert libreoffice.ods 'csv:Text - txt - csv (StarCalc):59,34,1,1,,1031,false,false' libreoffice-semicolons.csv
convert xlsxwriter.xlsx 'csv:Text - txt - csv (StarCalc):9,34,65535,1,,1033,true,true' libreoffice-utf16.csv
convert epoch-1904.xlsx ods libreoffice-1904.ods
convert serials-1904.xlsx xlsx libreoffice-serials-1904.xlsx
convert crlf.csv xlsx libreoffice-from-csv.xlsx 'Text - txt - csv (StarCalc):44,34,76,1'
convert merged.xlsx xlsx libreoffice-merged.xlsx
convert merged.xlsx ods libreoffice-merged.ods
for name in grouped groups-above; do
    convert $name.xlsx ods libreoffice-$name.ods
    sed "s/$name\.xlsx/libreoffice-$name.ods/" $name.xlsx.toml >libreoffice-$name.ods.toml
done
convert groups-above.xlsx 'csv:Text - txt - csv (StarCalc):44,34,76,1,,1033,false,true' libreoffice-groups-above.csv
sed 's/groups-above\.xlsx/libreoffice-groups-above.csv/' groups-above.xlsx.toml >libreoffice-groups-above.csv.toml
convert flights.xlsx ods libreoffice-flights.ods
sed 's/flights\.xlsx/libreoffice-flights.ods/' flights.xlsx.toml >libreoffice-flights.ods.toml
