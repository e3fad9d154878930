"""Workbook of "Choose like a lizard": ranks, and all orders of signs over the rounds."""

from fieldkit.classroom import slips
from fieldkit.classroom.declared import ROUNDS
from fieldkit.classroom.workbook.formulas import (
    CLASS,
    LAST,
    LIZARDS,
    TO_MEND,
    array,
    as_number,
    below,
    chart,
    column,
    first_true,
    head,
    named,
    number_wrong,
    text,
    typed,
)

_DRIVERS = {"air": "C", "surface": "D", "radiation": "F"}  # columns of `working`


def add(book, page, columns, last):
    """Add the sheets of this lesson, and the column of the first sheet that says what to mend."""
    names = ("answer", "rounds", "lizards", "working", "orders")
    answer, rounds, lizards, working, orders = (book.create_sheet(name) for name in names)
    _tidied_places(working, last)
    _rounds(rounds, last)
    _lizards(lizards, last)
    _orders(orders)
    _choices(book, answer)
    _mend_places(page, columns, last)
    _look_again(page, last)


def _tidied_places(sheet, last):
    head(
        sheet, "round", "place_id", "shade_air_c", "surface_c", "black_c", "sun_excess_c", "lizards", "read",
        "which round", "air pull", "surface pull", "radiation pull", "air rank", "surface rank", "radiation rank",
        "names",
    )  # fmt: skip
    rounds, read = f"$A$2:$A${last}", f"$H$2:$H${last}"
    for r in range(2, last + 1):
        above = f"A{r - 1}" if r > 2 else '""'
        sheet[f"A{r}"] = f'=IF({text("A", r)}="",{above},{typed("A", r)})'
        sheet[f"B{r}"] = f"={text('B', r)}"
        for letter in "CDE":
            sheet[f"{letter}{r}"] = f"={as_number(letter, r)}"
        sheet[f"F{r}"] = f'=IF(AND(ISNUMBER(C{r}),ISNUMBER(E{r})),E{r}-C{r},"")'
        names = f'UPPER({typed("F", r)}&"")'
        for mark in (",", ";", "/", "."):
            names = f'SUBSTITUTE({names},"{mark}"," ")'
        names = f"TRIM({names})"
        for digit in range(1, 10):
            names = f'SUBSTITUTE({names},"L {digit}","L{digit}")'
        sheet[f"P{r}"] = f"={names}"
        sheet[f"G{r}"] = f'=IF(P{r}="",0,LEN(P{r})-LEN(SUBSTITUTE(P{r}," ",""))+1)'
        filled = "&".join(text(letter, r) for letter in "CDEF")
        sheet[f"H{r}"] = f'=IF({filled}="",0,1)'
        first = f"SUMPRODUCT((A$2:A{r}=A{r})*(H$2:H{r}=1))=1"
        sheet[f"I{r}"] = f'=IF(H{r}=1,IF({first},MAX(I$1:I{r - 1})+1,""),"")'
        for letter, pull, rank in zip(_DRIVERS.values(), "JKL", "MNO"):
            values = f"${letter}$2:${letter}${last}"
            mean = f"AVERAGEIFS({values},{rounds},A{r},{read},1)"
            sheet[f"{pull}{r}"] = f"=IF(AND(H{r}=1,ISNUMBER({letter}{r})),G{r}*({letter}{r}-{mean}),0)"
            # To six decimals, so that places that read the same tie in every program.
            same = f"({rounds}=A{r})*({read}=1)*ISNUMBER({values})"
            apart = f"ROUND(IF(ISNUMBER({letter}{r}),{letter}{r},0),6)"
            higher = f"SUMPRODUCT({same}*({values}>{apart}+0.0000005))"
            level = f"SUMPRODUCT({same}*({values}>{apart}-0.0000005))-{higher}"
            sheet[f"{rank}{r}"] = f'=IF(AND(H{r}=1,ISNUMBER({letter}{r})),1+{higher}+({level}-1)/2,"")'


def _rounds(sheet, last):
    names = [f"{name} {what}" for what in ("pull", "rank") for name in _DRIVERS]
    head(sheet, "round", "places", "lizards", *names, "rank by chance")
    rounds, lizards, read, which = (column("working", letter, last) for letter in "AGHI")
    for r in range(2, ROUNDS + 2):
        sheet[f"A{r}"] = f'=IFERROR(INDEX({rounds},MATCH({r - 1},{which},0)),"")'
        sheet[f"B{r}"] = f'=IF(A{r}="","",COUNTIFS({rounds},A{r},{read},1))'
        sheet[f"C{r}"] = f'=IF(A{r}="","",SUMIFS({lizards},{rounds},A{r},{read},1))'
        for letter, source in zip("DEF", "JKL"):
            sheet[f"{letter}{r}"] = f'=IF(A{r}="",0,SUMIFS({column("working", source, last)},{rounds},A{r}))'
        for letter, source in zip("GHI", "MNO"):
            rank = column("working", source, last)
            ranked = f"({rounds}=A{r})*ISNUMBER({rank})"
            total = f"SUMPRODUCT({ranked}*1,{lizards},{rank})"
            sheet[f"{letter}{r}"] = f'=IF(A{r}="","",IFERROR({total}/SUMPRODUCT({ranked}*{lizards}),""))'
        sheet[f"J{r}"] = f'=IF(A{r}="","",(B{r}+1)/2)'


def _lizards(sheet, last):
    head(sheet, "lizard", *(f"round {number}" for number in range(1, ROUNDS + 1)), "in all")
    rounds, names = (column("working", letter, last) for letter in "AP")
    for r in range(2, LIZARDS + 2):
        sheet[f"A{r}"] = f"L{r - 1}"
        text = f'" "&SUBSTITUTE({names}," ","  ")&" "'
        for number, letter in enumerate("BCDEFG", start=2):
            times = "+".join(
                f'SUMPRODUCT(({rounds}=rounds!$A${number})*(LEN({text})-LEN(SUBSTITUTE({text}," {name} ",""))))'
                f"/{len(name) + 2}"
                for name in (f"L{r - 1}", f"{r - 1}")
            )
            sheet[f"{letter}{r}"] = f'=IF(rounds!$A${number}="",0,{times})'
        sheet[f"H{r}"] = f"=SUM(B{r}:G{r})"


def _orders(sheet):
    signs = [f"sign of round {number}" for number in range(1, ROUNDS + 1)]
    head(sheet, *signs, *_DRIVERS, *(f"{name} as strong" for name in _DRIVERS))
    letters = "ABCDEFGHIJKL"
    for row in range(2**ROUNDS):
        r = row + 2
        for number in range(ROUNDS):
            sheet[f"{letters[number]}{r}"] = -1 if row >> number & 1 else 1
        for total, strong, pull in zip("GHI", "JKL", "DEF"):
            parts = "+".join(f"{letters[number]}{r}*rounds!${pull}${number + 2}" for number in range(ROUNDS))
            sheet[f"{total}{r}"] = f"=ABS({parts})"
            sheet[f"{strong}{r}"] = f"=IF({total}{r}>={total}$2*(1-1E-9),1,0)"


def _choices(book, sheet):
    end, last = 2**ROUNDS + 1, LAST["choose_like_a_lizard"]
    for number, name in enumerate(("chosen on", "pull", "mean rank", "as strong", "orders", "found"), start=1):
        sheet.cell(4, number, name)
    sheet["A8"], sheet["B8"] = "rounds", f'=SUMPRODUCT(--(rounds!A2:A{ROUNDS + 1}<>""))'
    for r, (name, pull, rank, strong) in enumerate(zip(_DRIVERS, "DEF", "GHI", "JKL"), start=5):
        sheet[f"A{r}"], sheet[f"B{r}"] = name, f"=SUM(rounds!{pull}2:{pull}{ROUNDS + 1})"
        sheet[f"C{r}"] = f'=IFERROR(AVERAGE(rounds!{rank}2:{rank}{ROUNDS + 1}),"")'
        sheet[f"D{r}"] = f"=SUM(orders!{strong}2:{strong}{end})/2^({ROUNDS}-B$8)"
        sheet[f"E{r}"] = "=2^B$8"
        sheet[f"F{r}"] = f'=IF(D{r}>0.05*E{r},"none",IF(B{r}>0,"more","less"))'
        for what, letter in (("pull", "B"), ("rank", "C"), ("strong", "D"), ("found", "F")):
            named(book, f"{name}_{what}", sheet, f"{letter}{r}")
    sheet["A9"], sheet["B9"] = "rows to mend", f"=SUMPRODUCT(--(LEN('{CLASS}'!G2:G{last})>0))"
    twice = f"SUMPRODUCT(--(lizards!B2:G{LIZARDS + 1}>1))"
    sheet["A10"], sheet["B10"] = "lizards that stand at two places in one round", f"={twice}"
    rows_below, why_below = below(last)
    unread = f"COUNT({column('working', 'F', last)})=0"
    parts = (
        (f"OR(B9+B10>0,{rows_below})", "mend"),
        (f"OR(B8<6,{unread})", "few"),
        ('F7="more"', "sun"),
        ('F7="less"', "shade"),
    )
    sheet["A11"], sheet["B11"] = "verdict", "=" + first_true(parts, '"none"')
    for name, r in (("rounds", 8), ("rows_to_mend", 9), ("lizards_twice", 10), ("verdict", 11)):
        named(book, f"number_of_{name}" if name == "rounds" else name, sheet, f"B{r}")
    chance = '&" Chance does as well "&D7&" times in "&E7&"."'
    sheet["A1"] = (
        f'=IF({rows_below},"{why_below}",'
        f'IF(B11="mend","First mend the coloured rows of the class sheet (column ""{TO_MEND}"") and lizards that the '
        'sheet ""lizards"" counts more than once a round.",IF(B11="few",'
        f'IF(AND(B8>0,{unread}),"Nobody read the black sleeves, so nothing can be said of the sun.",'
        '"Too few rounds to tell: six are needed."),'
        f'IF(B11="sun","You went for the sun.",IF(B11="shade","You kept out of the sun.",'
        f'"There is no sign that you went for the sun or kept out of it.")){chance})))'
    )
    tell = (
        '"The places taken were on average number "&TEXT(C7,"0.0")&" of the sunniest; by chance "'
        '&TEXT(AVERAGE(rounds!J2:J7),"0.0")&"."'
    )
    both = (
        'IF(AND(F7<>"none",F6=F7)," Ground temperature points the same way: sun and warm ground go together, and this '
        'page cannot tell them apart.","")'
    )
    sheet["A2"] = f'=IF(OR(B11="mend",B8=0),"",IFERROR({tell}&{both},""))'
    for row in sheet["B5:C7"]:
        for cell in row:
            cell.number_format = "0.00"
    _choice_charts(book, sheet, last)


def _choice_charts(book, sheet, last):
    from openpyxl.chart import BarChart, Reference, ScatterChart, Series

    rounds, working = book["rounds"], book["working"]
    bars = chart(BarChart, "Rank of the places taken (1 = most)", "round", "mean rank of the places taken")
    for number in (7, 8, 9, 10):
        bars.add_data(Reference(rounds, min_col=number, min_row=1, max_row=ROUNDS + 1), titles_from_data=True)
    bars.set_categories(Reference(rounds, min_col=1, min_row=2, max_row=ROUNDS + 1))
    sheet.add_chart(bars, "H4")
    dots = chart(ScatterChart, "Who took which place", "black sleeve above shaded air (°C)", "lizards")
    dots.style, dots.legend = 13, None
    series = Series(
        Reference(working, min_col=7, min_row=2, max_row=5 * ROUNDS + 1),
        Reference(working, min_col=6, min_row=2, max_row=5 * ROUNDS + 1),
    )
    series.marker.symbol, series.graphicalProperties.line.noFill = "circle", True
    series.smooth, series.marker.graphicalProperties.solidFill = False, "C8791A"
    dots.series.append(series)
    sheet.add_chart(dots, "H23")


def _look_again(page, last):
    """What is possible and odd, as `slips.places` has it."""
    rounds, places, read = (column("working", letter, last) for letter in "ABH")
    counted, end = f"lizards!$B$2:$G${LIZARDS + 1}", LIZARDS + 1
    for r in range(2, last + 1):
        parts = [(f"working!H{r}=0", "")]
        sun = column("working", "F", last)
        median = f"MEDIAN(IF(({places}=working!B{r})*ISNUMBER({sun}),{sun}))"
        parts.append((f"IFERROR({median}<-1,FALSE)", "this page's sleeve reads below the air: columns swapped?"))
        limits = ("C", "shade_air_c", slips.AIR_APART_C), ("D", "surface_c", 25), ("E", "black_c", 20)
        for letter, name, limit in limits:
            values = column("working", letter, last)
            middle = f"MEDIAN(IF(({rounds}=working!A{r})*({read}=1)*ISNUMBER({values}),{values}))"
            far = f"IFERROR(ABS(working!{letter}{r}-{middle})>{limit:g},FALSE)"
            parts.append((far, f"{name} is far from the other places: digits swapped, °F, or in the sun?"))
        first = f"ISNUMBER(working!I{r})"
        fewer = f"COUNTIFS({rounds},working!A{r},{read},1)<MAX(rounds!$B$2:$B${ROUNDS + 1})"
        parts.append((f"IF({first},{fewer},FALSE)", "a place has no row in this round"))
        here = f"INDEX({counted},0,working!I{r})"
        gone = f"SUM((lizards!$H$2:$H${end}>0)*({here}=0))>0"
        parts.append((f"IF({first},IFERROR({gone},FALSE),FALSE)", "lizards of other rounds are missing in this one"))
        array(page, f"H{r}", "=" + first_true(parts))


def _mend_places(page, columns, last):
    rounds, places, lizards, read = (column("working", letter, last) for letter in "ABGH")
    for r in range(2, last + 1):
        numbers = ("C", "shade_air_c"), ("D", "surface_c"), ("E", "black_c")
        parts = (
            (f"working!H{r}=0", ""),
            (f"NOT(ISNUMBER(working!A{r}))", "round is not a number"),
            (
                f"OR(working!A{r}<1,working!A{r}>99,working!A{r}<>INT(working!A{r}))",
                "round: whole numbers from 1 to 99",
            ),
            (f"ISERROR(MATCH(working!A{r},rounds!$A$2:$A${ROUNDS + 1},0))", f"the workbook counts {ROUNDS} rounds"),
            (f'working!B{r}=""', "place_id is empty"),
            *(part for letter, name in numbers for part in number_wrong(letter, r, name, columns[name].limits)),
            (f"IF(ISNUMBER(F{r}),F{r}<>INT(F{r}),FALSE)", "taken_by became a number: write L3 L7"),
            (
                f"SUMPRODUCT(({rounds}=working!A{r})*({places}=working!B{r})*({read}=1))>1",
                "this round and place stand twice",
            ),
            (
                f"AND(ISNUMBER(working!I{r}),SUMIFS({lizards},{rounds},working!A{r})=0)",
                "nobody took a place in this round",
            ),
        )
        page[f"G{r}"] = "=" + first_true(parts)
