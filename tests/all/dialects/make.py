"""Writes one and the same log in the ways spreadsheets, scripts and people write it.

    python3 -m venv venv && venv/bin/pip install openpyxl pandas odfpy xlsxwriter
    venv/bin/python tests/all/dialects/make.py

Every file must read to the records listed in tests/all/dialects.rs, which are typed there by hand.
FILE.toml beside a file holds the [[logbook]] table it needs.
"""

import csv
import datetime as dt
import io
import pathlib

import openpyxl
import pandas as pd
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

HERE = pathlib.Path(__file__).parent
# date, off, tach in, length, service, left dip, left added, right dip, right added, remarks
FLIGHTS = [
    ("2026-02-26", "09:10", 1483.5, 1.2, "charter", 9.5, None, 9.0, None, ""),
    ("2026-02-27", "08:00", 1484.9, 1.4, "charter", 9.0, None, 8.5, 1.0, "naïve: 5 °C"),
    ("2026-03-01", "09:15", 1486.0, 1.1, "training", 8.5, 1.0, 9.0, None, ""),
    ("2026-03-01", "14:05", 1487.3, 1.3, "charter", None, None, None, None, 'wind "gusty"; late, then calm'),
    ("2026-03-02", "07:30", 1489.0, 1.7, "ferry", 9.0, None, 8.5, 0.5, ""),
    ("2026-03-13", "10:00", 1490.5, 1.5, "charter", 8.0, 1.5, 8.5, None, "left cowl\nwiped"),
    ("2026-04-05", "16:45", 1491.6, 1.1, "charter", 9.0, None, 9.0, None, ""),
]
HEADER = ["date", "time", "engine", "hours", "entry", "quantity", "level", "oil", "flight_hours", "service", "result", "remarks"]
LITRES = 0.946352946


def when(row):
    return dt.datetime.fromisoformat(f"{row[0]} {row[1]}")


def entries():
    """The log with one row per entry, as HEADER says; None where empty."""
    for f in FLIGHTS:
        day, time = when(f).date(), when(f).time()
        for engine, dip, added in (("left", f[5], f[6]), ("right", f[7], f[8])):
            if added is not None:
                yield [day, time, engine, None, "oil-added", added, dip, None, None, None, None, None]
            elif dip is not None:
                yield [day, time, engine, None, "oil-level", None, dip, None, None, None, None, None]
        yield [day, time, None, f[2], "flight", None, None, None, f[3], f[4], None, f[9] or None]


def text(value, decimal="."):
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%d %H:%M")
    if isinstance(value, dt.time):
        return value.strftime("%H:%M")
    if isinstance(value, float):
        return f"{value:g}".replace(".", decimal)
    return str(value)


def rows(change=None, decimal="."):
    for row in entries():
        row = dict(zip(HEADER, row))
        if change:
            change(row)
        yield [text(v, decimal) for v in row.values()]


def write(name, header, body, encoding="utf-8", before="", after="", **dialect):
    out = io.StringIO()
    dialect.setdefault("lineterminator", "\n")
    writer = csv.writer(out, **dialect)
    if header:
        writer.writerow(header)
    writer.writerows(body)
    (HERE / name).write_bytes((before + out.getvalue() + after).encode(encoding))


def layout(name, table):
    (HERE / f"{name}.toml").write_text(f'[[logbook]]\nfiles = "{name}"\n{table}')


def texts_per_entry():
    write("plain.csv", HEADER, rows())
    write("crlf.csv", HEADER, rows(), lineterminator="\r\n")
    write("quoted.csv", HEADER, rows(), quoting=csv.QUOTE_ALL)
    write("bom.csv", HEADER, rows(), encoding="utf-8-sig", lineterminator="\r\n")
    write("utf16-tab.csv", HEADER, rows(), encoding="utf-16", delimiter="\t", lineterminator="\r\n")
    write("utf16-be.csv", HEADER, rows(), encoding="utf-16-be")
    write("ansi.csv", HEADER, rows(), encoding="cp1252", lineterminator="\r\n")
    write("pipes.csv", HEADER, rows(), delimiter="|")
    write("old-mac.csv", HEADER, rows(lambda r: r.update(remarks=(r["remarks"] or "").replace("\n", " "))), lineterminator="\r")
    write("sep-line.csv", HEADER, rows(), before="sep=;\r\n", delimiter=";", lineterminator="\r\n")

    def german(r):
        r.update(date=r["date"].strftime("%d.%m.%Y"))

    write("semicolons.csv", HEADER, rows(german, ","), encoding="cp1252", delimiter=";", lineterminator="\r\n")
    write("tab-commas.csv", HEADER, rows(german, ","), delimiter="\t")

    def us(r):
        r.update(date=f"{r['date'].month}/{r['date'].day}/{r['date'].year}", time=r["time"].strftime("%I:%M %p"))

    write("us-dates.csv", HEADER, rows(us))
    write("day-first.csv", HEADER, rows(lambda r: r.update(date=r["date"].strftime("%d/%m/%y"))))
    write("month-names.csv", HEADER, rows(lambda r: r.update(date=r["date"].strftime("%d-%b-%y"), time=r["time"].strftime("%H%M"))))

    def serial(r):
        r.update(date=(r["date"] - dt.date(1899, 12, 30)).days, time=f"{(r['time'].hour * 60 + r['time'].minute) / 1440:.9f}")

    write("serials.csv", HEADER, rows(serial))

    def fractions(r):
        words = {0.5: "½ qt", 1.0: "1 QT", 1.5: "1 1/2 quarts"}
        levels = {8.0: "8", 8.5: "8 ½", 9.0: "9 qts.", 9.5: "9½"}
        r.update(quantity=words.get(r["quantity"]), level=levels.get(r["level"]))

    write("fractions.csv", HEADER, rows(fractions))

    def metric(r):
        for column in ("quantity", "level"):
            r[column] = None if r[column] is None else round(r[column] * LITRES, 4)

    names = [f"{h} (L)" if h in ("quantity", "level") else h for h in HEADER]
    write("litres.csv", names, rows(metric))
    units = ["yyyy-mm-dd", "hh:mm", "", "h", "", "l", "l", "", "h", "", "", "text"]
    write("units-row.csv", HEADER, [units, *rows(metric)])
    shuffled = ["REMARKS", "Flight Hours", "Captain's initials", "Entry", "Level", "Quantity", "Engine", "Hours", "Time", "Date", "Service", "Page"]
    pick = [HEADER.index(n.lower().replace(" ", "_")) if n.lower().replace(" ", "_") in HEADER else None for n in shuffled]
    body = [["" if at is None else row[at] for at in pick] for row in rows()]
    for row in body:
        row[2], row[11] = "X.", "4"
    write("shuffled.csv", shuffled, body)
    printed = list(rows())
    body = [*printed[:5], HEADER, *printed[5:], [], ["Total", "", "", "", "", "4", "", "", "9.3"]]
    before = '"Brindlemoor Air Charter"\n"Engine log, N0417H, 2026"\n\n'
    write("printed.csv", HEADER, body, before=before)
    one_cell = [h for h in HEADER if h != "time"]
    body = [[f"{r[0]}T{r[1]}:00", *r[2:]] for r in rows()]
    write("iso-moments.csv", one_cell, body)
    write("lengths.csv", HEADER, rows(lambda r: r.update(
        flight_hours=r["flight_hours"] and "{}:{:02}".format(*divmod(round(r["flight_hours"] * 60), 60)))))
    body = []
    for row in rows():
        while row and row[-1] == "":
            row.pop()
        body.append(row)
    write("ragged.csv", HEADER, body)
    write("thousands.csv", HEADER, rows(lambda r: r.update(hours=r["hours"] and f"{r['hours']:,.1f} h")))
    write("commas-quoted.csv", HEADER, rows(None, ","), quoting=csv.QUOTE_MINIMAL)
    write("words.csv", ["Datum", "Zeit", "Triebwerk", "Stand", "Was", "Menge", "Peilstab", "Sorte", "Dauer", "Einsatz", "Befund", "Notiz"],
          rows(lambda r: r.update(
              engine={"left": "links", "right": "rechts", None: None}[r["engine"]],
              entry={"oil-added": "nachgefüllt", "oil-level": "gepeilt", "flight": "Flug"}[r["entry"]])), delimiter=";")
    layout("words.csv", """date = { columns = ["Datum", "Zeit"] }
columns = { engine = "Triebwerk", hours = "Stand", entry = "Was", quantity = "Menge", level = "Peilstab", flight_hours = "Dauer", service = "Einsatz", remarks = "Notiz" }
words = { entry = { "nachgefüllt" = "oil-added", "gepeilt" = "oil-level", "flug" = "flight" }, engine = { links = "left", rechts = "right" } }
""")
    frame = pd.DataFrame(list(entries()), columns=HEADER)
    frame.to_csv(HERE / "pandas.csv")
    frame.assign(when=[f"{d} {t}" for d, t in zip(frame.date, frame.time)]).drop(columns=["date", "time"]).rename(
        columns={"when": "date"}).to_csv(HERE / "pandas-moments.csv", index=False, float_format="%.3f")


def books_per_entry():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(HEADER)
    for row in entries():
        sheet.append(row)
    book.save(HERE / "openpyxl.xlsx")

    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    sheet = book.active
    sheet.append(HEADER)
    for row in entries():
        sheet.append(row)
    book.save(HERE / "epoch-1904.xlsx")

    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    sheet = book.active
    sheet.append(HEADER)
    for row in entries():
        sheet.append([(row[0] - dt.date(1904, 1, 1)).days, *row[1:]])
    book.save(HERE / "serials-1904.xlsx")

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(HEADER)
    for row in rows():
        sheet.append(row)
    book.save(HERE / "all-text.xlsx")

    book = openpyxl.Workbook()
    book.active.title = "Read me"
    book.active.append(["The log is on the sheet 2026"])
    sheet = book.create_sheet("2026")
    sheet["B2"] = "Engine log"
    sheet.merge_cells("B2:F2")
    for column, name in enumerate(HEADER):
        sheet.cell(4, column + 2, name)
    for line, row in enumerate(entries()):
        for column, value in enumerate(row):
            sheet.cell(line + 6, column + 2, value)
    book.save(HERE / "second-sheet.xlsx")
    layout("second-sheet.xlsx", 'sheet = "2026"\n')

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(HEADER)
    for row in entries():
        sheet.append(row)
    # Date and time once for all entries of a moment, merged down over their rows.
    for column in (1, 2):
        first = 2
        for line in range(3, sheet.max_row + 2):
            moments = [tuple(sheet.cell(at, c).value for c in (1, column)) for at in (first, line)]
            if moments[0] != moments[1]:
                if line - 1 > first:
                    sheet.merge_cells(start_row=first, end_row=line - 1, start_column=column, end_column=column)
                first = line
    book.save(HERE / "merged.xlsx")

    with xlsxwriter.Workbook(HERE / "xlsxwriter.xlsx", {"constant_memory": True, "default_date_format": "dd/mm/yy"}) as book:
        sheet = book.add_worksheet()
        clock = book.add_format({"num_format": "hh:mm"})
        sheet.write_row(0, 0, HEADER)
        for line, row in enumerate(entries()):
            for column, value in enumerate(row):
                if isinstance(value, dt.time):
                    sheet.write_datetime(line + 1, column, value, clock)
                elif value is not None:
                    sheet.write(line + 1, column, value)

    with xlsxwriter.Workbook(HERE / "formulas.xlsx") as book:
        sheet = book.add_worksheet()
        day = book.add_format({"num_format": "d-mmm-yy"})
        moment = book.add_format({"num_format": "m/d/yyyy h:mm"})
        sheet.write_row(0, 0, [h for h in HEADER if h != "time"])
        for line, row in enumerate(entries()):
            sheet.write_datetime(line + 1, 0, dt.datetime.combine(row[0], row[1]), moment)
            for column, value in enumerate(row[2:]):
                if isinstance(value, float):
                    sheet.write_formula(line + 1, column + 1, f"={value}+0", None, value)
                elif value is not None:
                    sheet.write(line + 1, column + 1, value)
        for line in range(40, 60):
            sheet.write_formula(line, 2, f"=C{line}+I{line}", None, 0)
            sheet.write_blank(line, 0, None, day)

    frame = pd.DataFrame(list(entries()), columns=HEADER)
    frame.to_excel(HERE / "pandas.xlsx", index=False)
    frame.to_excel(HERE / "pandas.ods", index=False, engine="odf")
    ods("odfpy.ods", HEADER, entries())


def ods(name, header, body, empty_rows=0):
    document = OpenDocumentSpreadsheet()
    table = Table(name="Log")
    document.spreadsheet.addElement(table)

    def add(values):
        row = TableRow()
        for value in values:
            if value is None:
                cell = TableCell()
            elif isinstance(value, dt.datetime):
                cell = TableCell(valuetype="date", datevalue=value.isoformat())
            elif isinstance(value, dt.date):
                cell = TableCell(valuetype="date", datevalue=value.isoformat())
            elif isinstance(value, dt.time):
                cell = TableCell(valuetype="time", timevalue=value.strftime("PT%HH%MM%SS"))
            elif isinstance(value, dt.timedelta):
                minutes = round(value.total_seconds() / 60)
                cell = TableCell(valuetype="time", timevalue=f"PT{minutes // 60:02}H{minutes % 60:02}M00S")
            elif isinstance(value, float):
                cell = TableCell(valuetype="float", value=str(value))
            else:
                cell = TableCell(valuetype="string")
                for line in str(value).split("\n"):
                    cell.addElement(P(text=line))
            row.addElement(cell)
        table.addElement(row)

    if empty_rows:
        table.addElement(TableRow(numberrowsrepeated=str(empty_rows)))
    add(header)
    for values in body:
        add(values)
    last = TableRow(numberrowsrepeated="1048000")
    last.addElement(TableCell(numbercolumnsrepeated="16384"))
    table.addElement(last)
    document.save(HERE / name)


PER_FLIGHT = """per = "flight"
date = {{ columns = [{date}]{format} }}
columns = {{ hours = "Tach in", flight_hours = "Time", service = "Type", remarks = "Notes" }}
[logbook.oil]
left = {{ added = "Oil L", level = "Dip L"{unit} }}
right = {{ added = "Oil R", level = "Dip R"{unit} }}
"""
FLIGHT_HEADER = ["Date", "Off", "Tach in", "Time", "Type", "Dip L", "Oil L", "Dip R", "Oil R", "Notes"]


def per_flight():
    def flight_layout(name, date='"Date", "Off"', format="", unit="", extra=""):
        form = f', format = "{format}"' if format else ""
        unit = f', unit = "{unit}"' if unit else ""
        layout(name, extra + PER_FLIGHT.format(date=date, format=form, unit=unit))

    def metric(values):
        return [None if v is None else round(v * LITRES, 4) for v in values]

    write("flights.csv", FLIGHT_HEADER, [[when(f).strftime("%m/%d/%Y"), *map(text, f[1:])] for f in FLIGHTS])
    flight_layout("flights.csv", format="%m/%d/%Y %H:%M")
    write("flights-litres.csv", FLIGHT_HEADER,
          [[when(f).strftime("%d.%m.%y"), f[1], *(text(v, ",") for v in [*f[2:5], *metric(f[5:9])]), f[9]] for f in FLIGHTS],
          encoding="cp1252", delimiter=";", lineterminator="\r\n", before="Flugbuch N0417H\r\n\r\n")
    flight_layout("flights-litres.csv", unit="l", extra='skip_lines = 2\ndelimiter = ";"\ndecimal = ","\nencoding = "windows-1252"\n')
    mixed = [[f[0], f[1], text(f[2]), f"{f[3] * 60:.0f} min", {"charter": "C", "training": "T"}.get(f[4], f[4]),
              *(("-" if v is None else f"{v * LITRES:.3f} l") for v in f[5:9]), f[9]] for f in FLIGHTS]
    write("flights-cells.csv", FLIGHT_HEADER, mixed)
    flight_layout("flights-cells.csv", extra='words = { service = { C = "charter", "T" = "training" } }\n')

    # Zulu times: Denver is 7 h behind until summer time begins on 8 March 2026, then 6 h.
    def zulu(f):
        ahead = 7 if when(f) < dt.datetime(2026, 3, 8, 3) else 6
        at = when(f) + dt.timedelta(hours=ahead)
        return [at.strftime("%Y-%m-%d"), at.strftime("%H:%M")]

    write("flights-utc.csv", FLIGHT_HEADER, [[*zulu(f), *map(text, f[2:])] for f in FLIGHTS], delimiter="\t")
    layout("flights-utc.csv", PER_FLIGHT.format(date='"Date", "Off"', format=', zone = "utc"', unit=""))

    def body(one_moment):
        for f in FLIGHTS:
            first = [when(f)] if one_moment else [when(f).date(), when(f).time()]
            yield [*first, f[2], dt.timedelta(minutes=round(f[3] * 60)), f[4], *f[5:9], f[9] or None]

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Flight log 2026"])
    sheet.merge_cells("A1:J1")
    sheet.append([])
    sheet.append(FLIGHT_HEADER)
    for row in body(False):
        sheet.append(row)
    sheet.append(["Totals", None, None, dt.timedelta(hours=9.3)])
    book.save(HERE / "flights.xlsx")
    flight_layout("flights.xlsx")
    ods("flights.ods", [h for h in FLIGHT_HEADER if h != "Off"], body(True), empty_rows=3)
    flight_layout("flights.ods", date='"Date"')
    grouped(body)


def grouped(body):
    """Headers of two rows: each engine's name once, over its dip and its oil."""
    def grouped_layout(name, left, right, format=""):
        text = PER_FLIGHT.format(date='"Date", "Off"', format=format, unit="")
        for side, over in (("L", left), ("R", right)):
            text = text.replace(f'"Oil {side}"', f'"{over} Oil"').replace(f'"Dip {side}"', f'"{over} Dip"')
        layout(name, text)

    first = ["Date", "Off", "Tach in", "Time", "Type", "Left engine", None, "Right engine", None, "Notes"]
    sides = ["Dip", "Oil", "Dip", "Oil"]
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Flight log 2026"])
    sheet.merge_cells("A1:J1")
    sheet.append(first)
    sheet.append([None] * 5 + sides)
    for area in ["F2:G2", "H2:I2", *(f"{column}2:{column}3" for column in "ABCDEJ")]:
        sheet.merge_cells(area)
    for row in body(False):
        sheet.append(row)
    # Two flights of a day.
    sheet.merge_cells("A6:A7")
    book.save(HERE / "grouped.xlsx")
    grouped_layout("grouped.xlsx", "Left engine", "Right engine")
    write("grouped.csv", first, [[""] * 5 + sides] + [[when(f).strftime("%m/%d/%Y"), *map(text, f[1:])] for f in FLIGHTS])
    grouped_layout("grouped.csv", "Left engine", "Right engine", ', format = "%m/%d/%Y %H:%M"')

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([None] * 5 + ["LEFT", None, "RIGHT"])
    sheet.merge_cells("F1:G1")
    sheet.merge_cells("H1:I1")
    sheet.append(first[:5] + sides + first[9:])
    for row in body(False):
        sheet.append(row)
    book.save(HERE / "groups-above.xlsx")
    grouped_layout("groups-above.xlsx", "LEFT", "RIGHT")


if __name__ == "__main__":
    texts_per_entry()
    books_per_entry()
    per_flight()
