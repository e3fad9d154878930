"""Workbook of "A thermometer in the sun": groups, means, Welch's interval, charts."""

from fieldkit.classroom import lessons, slips
from fieldkit.classroom.declared import ALSO, COVERS
from fieldkit.classroom.workbook.formulas import (
    CLASS,
    GROUPS,
    LAST,
    LOOK_AGAIN,
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
)


def add(book, page, columns, last):
    """Add the sheets of this lesson, and the column of the first sheet that says what to mend."""
    names = ("answer", "groups", "working", "minutes")
    answer, groups, working, minutes = (book.create_sheet(name) for name in names)
    _tidied_readings(working, last)
    _groups(groups, last)
    _minutes(minutes, last)
    _covers(book, answer)
    _mend_readings(page, columns, last)
    _look_again(page, groups, last)


def _tidied_readings(sheet, last):
    head(sheet, "group", "cover", "minute", "shade_c", "sun_c", "apart_c", "read", "which group")
    for r in range(2, last + 1):
        group, cover = text("A", r), text("B", r)
        above = ("A" + str(r - 1), "B" + str(r - 1)) if r > 2 else ('""', '""')
        sheet[f"A{r}"] = f'=IF(AND({group}="",{cover}=""),{above[0]},{group})'
        sheet[f"B{r}"] = f'=IF({cover}<>"",{_cover(cover)},IF(A{r}={above[0]},{above[1]},""))'
        for letter in "CDE":
            sheet[f"{letter}{r}"] = f"={as_number(letter, r)}"
        sheet[f"F{r}"] = f'=IF(AND(ISNUMBER(D{r}),ISNUMBER(E{r})),E{r}-D{r},"")'
        sheet[f"G{r}"] = f'=IF({text("D", r)}&{text("E", r)}="",0,1)'
        first = f"SUMPRODUCT((A$2:A{r}=A{r})*(G$2:G{r}=1))=1"
        sheet[f"H{r}"] = f'=IF(G{r}=1,IF({first},MAX(H$1:H{r - 1})+1,""),"")'


def _cover(cell):
    """The cover that a word stands for, as `declared.ALSO` has it."""
    plain = f'LOWER(SUBSTITUTE({cell},"-"," "))'
    words = {name: ",".join(f'{plain}="{word}"' for word, meant in ALSO.items() if meant == name) for name in COVERS}
    return first_true([(f"OR({said})", name) for name, said in words.items()], plain)


def _look_again(page, groups, last):
    """What is possible and odd, as `slips.readings` has it: of a group, and jumps from one row to the next."""
    group, shade, minute, apart = (column("working", letter, last) for letter in "ADCF")
    end = GROUPS + 1
    head(groups, *[cell.value for cell in groups[1]], "shade_median_c", "fell_c", "far_from_mates_c", LOOK_AGAIN)
    for r in range(2, end + 1):
        array(groups, f"H{r}", f'=IF(A{r}="","",IFERROR(MEDIAN(IF(({group}=A{r})*ISNUMBER({shade}),{shade})),""))')
        late, early = (
            f'AVERAGEIFS({apart},{group},A{r},{minute},">=12")',
            (f'AVERAGEIFS({apart},{group},A{r},{minute},">=6",{minute},"<=10")'),
        )
        groups[f"I{r}"] = f'=IF(A{r}="","",IFERROR({early}-{late},""))'
        mates = f"(B$2:B${end}=B{r})*(A$2:A${end}<>A{r})*ISNUMBER(E$2:E${end})"
        # One mate alone does not tell which of the two is odd.
        far = f"IF(SUM({mates})>1,ABS(E{r}-MEDIAN(IF({mates},E$2:E${end}))),0)"
        array(groups, f"J{r}", f'=IF(ISNUMBER(E{r}),{far},"")')
        others = f"MEDIAN(IF((A$2:A${end}<>A{r})*ISNUMBER(H$2:H${end}),H$2:H${end}))"
        parts = (
            (f'A{r}=""', ""),
            (f"AND(ISNUMBER(H{r}),OR(H{r}>{slips.FAHRENHEIT_C},IFERROR(ABS(H{r}-{others})>10,FALSE)))",
             "the shaded thermometer reads far from the others: in °F, or in the sun?"),
            (f"AND(ISNUMBER(E{r}),E{r}<-0.5)", "it read lower in the sun than in the shade: columns swapped?"),
            (f"AND(ISNUMBER(J{r}),J{r}>{slips.FAR_C})", "far from the groups with the same cover: is the cover right?"),
            (f"AND(ISNUMBER(I{r}),I{r}>{slips.FALL_C})", "it fell while it lay in the sun: did a cloud or shade come?"),
        )  # fmt: skip
        array(groups, f"K{r}", "=" + first_true(parts))
    for r in range(2, last + 1):
        jump = "FALSE"
        if r > 2:
            jumps = (f"IFERROR(ABS(working!{c}{r}-working!{c}{r - 1})>{slips.JUMP_C},FALSE)" for c in "DE")
            jump = f"AND(working!A{r}=working!A{r - 1},OR({','.join(jumps)}))"
        of_group = f'IF(ISNUMBER(working!H{r}),IFERROR(INDEX(groups!$K$2:$K${end},working!H{r}),""),"")'
        said = f'IF({jump},"a jump of more than {slips.JUMP_C:g} °C: two digits swapped?",{of_group})'
        page[f"G{r}"] = f'=IF(working!G{r}=0,"",{said})'


def _groups(sheet, last):
    head(sheet, "group", "cover", "offset_c", "in_the_sun_c", "warmer_c", "squared_from_mean", "left out because")
    group, cover, minute, apart, which = (column("working", letter, last) for letter in "ABCFH")
    before, after = lessons.BOTH_IN_SHADE_UNTIL, lessons.AT_REST_FROM
    for r in range(2, GROUPS + 2):
        for letter, source in (("A", group), ("B", cover)):
            sheet[f"{letter}{r}"] = f'=IFERROR(INDEX({source},MATCH({r - 1},{which},0)),"")'
        for letter, limit in (("C", f"<={before}"), ("D", f">={after}")):
            mean = f'AVERAGEIFS({apart},{group},A{r},{minute},"{limit}")'
            sheet[f"{letter}{r}"] = f'=IF(A{r}="","",IFERROR({mean},""))'
        sheet[f"E{r}"] = f'=IF(AND(ISNUMBER(C{r}),ISNUMBER(D{r})),D{r}-C{r},"")'
        sheet[f"F{r}"] = f'=IF(ISNUMBER(E{r}),(E{r}-AVERAGEIFS(E$2:E${GROUPS + 1},B$2:B${GROUPS + 1},B{r}))^2,"")'
        missing = (
            (f'A{r}=""', ""),
            (f"NOT(ISNUMBER(C{r}))", f"no pair of readings from minutes 0 to {before}"),
            (f"NOT(ISNUMBER(D{r}))", f"no pair of readings from minute {after} or later"),
        )
        sheet[f"G{r}"] = "=" + first_true(missing)


def _minutes(sheet, last):
    head(sheet, "minute", *COVERS)
    cover, minute, apart = (column("working", letter, last) for letter in "BCF")
    for r in range(2, 18):
        sheet[f"A{r}"] = r - 2
        for letter in "BCD":
            sheet[f"{letter}{r}"] = f"=IFERROR(AVERAGEIFS({apart},{cover},{letter}$1,{minute},$A{r}),NA())"


def _covers(book, sheet):
    end = GROUPS + 1
    for number, name in enumerate(("cover", "groups", "warmer_c", "low_c", "high_c", "half_c"), start=1):
        sheet.cell(4, number, name)
    for r, cover in enumerate(COVERS, start=5):
        values = f'groups!$B$2:$B${end},A{r},groups!$E$2:$E${end},">-999"'
        spread = f"SQRT(SUMIFS(groups!$F$2:$F${end},groups!$B$2:$B${end},A{r})/(B{r}-1)/B{r})"
        sheet[f"A{r}"], sheet[f"B{r}"] = cover, f"=COUNTIFS({values})"
        sheet[f"C{r}"] = f'=IF(B{r}>0,AVERAGEIFS(groups!$E$2:$E${end},groups!$B$2:$B${end},A{r}),"")'
        sheet[f"F{r}"] = f'=IF(B{r}>1,_xlfn.T.INV.2T(0.05,B{r}-1)*{spread},"")'
        sheet[f"D{r}"], sheet[f"E{r}"] = (f'=IF(B{r}>1,C{r}{sign}F{r},"")' for sign in "-+")
    variances = [f"F{r}^2/_xlfn.T.INV.2T(0.05,B{r}-1)^2" for r in (5, 6)]
    enough = "AND(B5>1,B6>1)"
    rows = {
        "difference_c": "C5-C6",
        "variance": "+".join(variances),
        "degrees_of_freedom": f"B11^2/(({variances[0]})^2/(B5-1)+({variances[1]})^2/(B6-1))",
        "t_quantile": "SQRT(B12*(1/BETAINV(0.05,B12/2,0.5)-1))",
        "low_c": "B10-B13*SQRT(B11)",
        "high_c": "B10+B13*SQRT(B11)",
        "p_value": "BETADIST(B12/(B12+B10^2/B11),B12/2,0.5)",
    }
    sheet["A9"] = "black card minus white card"
    for r, (name, formula) in enumerate(rows.items(), start=10):
        sheet[f"A{r}"], sheet[f"B{r}"] = name, f'=IF({enough},IFERROR({formula},""),"")'
        named(book, name, sheet, f"B{r}")
    sheet["A17"], sheet["B17"] = (
        "rows to mend",
        f"=SUMPRODUCT(--(LEN('{CLASS}'!F2:F{LAST['thermometer_in_the_sun']})>0))",
    )
    rows_below, why_below = below(LAST["thermometer_in_the_sun"])
    more = (f"OR(B17>0,{rows_below})", "mend"), (f"NOT({enough})", "few"), ("NOT(ISNUMBER(B14))", "undecided")
    parts = (*more, ("B14>0", "black"), ("B15<0", "white"))
    sheet["A18"], sheet["B18"] = "verdict", "=" + first_true(parts, '"undecided"')
    for name, r in (("rows_to_mend", 17), ("verdict", 18)):
        named(book, name, sheet, f"B{r}")
    sheet["A1"] = "=" + first_true(
        (
            (rows_below, why_below),
            ('B18="mend"', f'First mend the coloured rows of the class sheet: the column ""{TO_MEND}"" says what.'),
            ('B18="few"', "Black and white card need two groups each before they can be compared."),
            ('B18="black"', "The thermometer in black card read more than the one in white card, in the same air."),
            ('B18="white"', "White card read more than black card. Were the two swapped?"),
        ),
        '"The groups differ too much to tell black card from white card."',
    )
    tell = '"Black minus white: "&TEXT(B10,"0.0")&" °C, 95 % interval "&TEXT(B14,"0.0")&" to "&TEXT(B15,"0.0")&" °C."'
    sheet["A2"] = f'=IF(OR(B18="mend",NOT(ISNUMBER(B14))),"",{tell})'
    for row in sheet["B5:F16"]:
        for cell in row:
            cell.number_format = "0" if cell.column == 2 and cell.row < 9 else "0.00"
    sheet["B16"].number_format = "0.0000"
    _cover_charts(book, sheet)


def _cover_charts(book, sheet):
    from openpyxl.chart import BarChart, Reference, ScatterChart, Series
    from openpyxl.chart.data_source import NumDataSource, NumRef
    from openpyxl.chart.error_bar import ErrorBars

    bars = chart(BarChart, "Sunlit above shaded thermometer", "", "°C, with 95 % interval")
    bars.add_data(Reference(sheet, min_col=3, min_row=5, max_row=7))
    bars.set_categories(Reference(sheet, min_col=1, min_row=5, max_row=7))
    half = NumDataSource(numRef=NumRef(f="'answer'!$F$5:$F$7"))
    bars.series[0].errBars = ErrorBars(errDir="y", errBarType="both", errValType="cust", plus=half, minus=half)
    bars.legend = None
    sheet.add_chart(bars, "H4")
    minutes, lines = book["minutes"], chart(ScatterChart, "Minute by minute", "minute", "sunlit minus shaded (°C)")
    lines.style = 13
    for number, (colour, marker) in enumerate((("000000", "square"), ("3E7CB1", "circle"), ("C8791A", "triangle")), 2):
        series = Series(
            Reference(minutes, min_col=number, min_row=1, max_row=17),
            Reference(minutes, min_col=1, min_row=2, max_row=17),
            title_from_data=True,
        )
        series.graphicalProperties.line.solidFill, series.marker.symbol = colour, marker
        series.marker.graphicalProperties.solidFill = colour
        series.smooth = False
        lines.series.append(series)
    sheet.add_chart(lines, "H23")


def _mend_readings(page, columns, last):
    group, cover, minute, read = (column("working", letter, last) for letter in "ABCG")
    low, high = columns["minute"].limits
    for r in range(2, last + 1):
        at = f"working!C{r}"
        covers = ",".join(f'working!B{r}="{name}"' for name in COVERS)
        parts = (
            (f"working!G{r}=0", ""),
            (f'working!A{r}=""', "group is empty"),
            (f"NOT(OR({covers}))", f"cover: write {', '.join(COVERS)}"),
            (f"NOT(ISNUMBER(working!C{r}))", "minute is not a number"),
            (f"OR({at}<{low},{at}>{high},{at}<>INT({at}))", f"minute: whole numbers from {low} to {high}"),
            *number_wrong("D", r, "shade_c", columns["shade_c"].limits),
            *number_wrong("E", r, "sun_c", columns["sun_c"].limits),
            (
                f"SUMPRODUCT(({group}=working!A{r})*({minute}=C{r})*({read}=1))>1",
                "this group and minute stand twice: two groups need two names",
            ),
            (f"SUMPRODUCT(({group}=working!A{r})*({read}=1)*({cover}<>working!B{r}))>0", "this group has two covers"),
        )
        page[f"F{r}"] = "=" + first_true(parts)
