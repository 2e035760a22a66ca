"""Whatever is wrong with a tally gets its finding, all findings of a call together, and nothing is stored."""

from __future__ import annotations

import pytest

from tests.desk import CLUSTERS, SAMPLE, Desk, cluster_rows

TICKETS = "date,issuer,number,basis,gross,tare,net\n"
CENSUS = "block,date,bearing,young,missing,positions\n"
VISITS = "block,season,started_on,pruned\n"
PRUNED = "block,date,chosen,counted_by,row,vine,prunings\n"
NODES = "block,date,chosen,counted_by,row,vine,bearer,bearer_number,position,shoots,clusters\n"
PLANTED = "block,from_season,cultivar,row_spacing,vine_spacing,positions\n"

# The name of a case, the text of its tally, what the finding must say: place, what, what was expected.
CASES = [
    (
        "a wrong heading",
        "block,date,chosen,counted_by,row,vine,grapes\n",
        ["t.csv:1:grapes: is no heading", "clusters"],
    ),
    ("no heading known", "a,b\n1,2\n", ["t.csv:1: no heading is one that vinebook knows", "vinebook form"]),
    ("a heading is missing", "block,date,counted_by,row,vine,clusters\n", ["t.csv:1: the heading 'chosen' is missing"]),
    ("a heading twice", CLUSTERS.replace("row,", "row,row,"), ["t.csv:1:row: stands twice"]),
    ("an empty heading", CLUSTERS.replace("row,", "row,,"), ["t.csv:1: column 6 is empty, which is no heading"]),
    (
        "a cell beyond the headings",
        CLUSTERS.replace("\n", ",,\n") + f"{SAMPLE},1,1,5,,\n{SAMPLE},1,2,5,x,\n",
        ["t.csv:3: has 9 cells; expected 7, as in the headings"],
    ),
    (
        "a unit in round brackets",
        PRUNED.replace("prunings", "prunings (kg)"),
        ["t.csv:1:prunings (kg): is no heading of a pruned_vine tally: did you mean prunings [kg]?"],
    ),
    (
        "a unit behind an underscore",
        PRUNED.replace("prunings", "prunings_kg"),
        ["t.csv:1:prunings_kg: is no heading of a pruned_vine tally: did you mean prunings [kg]?"],
    ),
    ("a heading misspelt", CLUSTERS.replace("clusters", "cluster"), ["cluster: is no", "did you mean clusters?"]),
    ("a heading of an event", "block,date,what,hit\n", ["t.csv:1:hit: is no heading of an event tally"]),
    ("tabs", CLUSTERS.replace(",", "\t"), ["t.csv:1: the headings are parted by tabs", "save it as CSV"]),
    ("a heading that does not print", CLUSTERS.replace("vine", "vi\x1bne"), ["t.csv:1:vi\ufffdne: is no heading"]),
    ("a long heading", CLUSTERS.replace("vine", " " * 90_000 + "]"), ["t.csv:1: the heading 'vine' is missing"]),
    (
        "an unknown block",
        cluster_rows([(1, 1, 5)]).replace("A1", "Z9"),
        ["t.csv:2:block: no block 'Z9' is in the book"],
    ),
    (
        "a block in other letters",
        cluster_rows([(1, 1, 5)]).replace("A1", "a1"),
        ["t.csv:2:block: no block 'a1' is in the book; expected the key of a block, A1 perhaps; `vinebook list block`"],
    ),
    ("an empty block", cluster_rows([(1, 1, 5)]).replace("A1", ""), ["t.csv:2:block: is empty", "the key of a block"]),
    (
        "words for a count",
        cluster_rows([(1, 1, "many")]),
        ["t.csv:2:clusters: 'many' is not a number", "a whole number"],
    ),
    ("a fraction of a cluster", cluster_rows([(1, 1, "2.5")]), ["t.csv:2:clusters: '2.5' is not a whole number"]),
    ("a whole number with a point", cluster_rows([(1, 1, "3.0")]), ["'3.0' is not a whole number; expected 3"]),
    ("a negative count", cluster_rows([(1, 1, -1)]), ["t.csv:2:clusters: '-1' is negative", "0 or more"]),
    ("a count of 19 digits", cluster_rows([(1, 1, "9" * 19)]), ["t.csv:2:clusters: '99", "too large"]),
    ("a count of 18 digits", cluster_rows([(1, 1, "9" * 18)]), ["larger than can be kept exactly"]),
    ("a count of 5000 digits", cluster_rows([(1, 1, "9" * 5000)]), ["t.csv:2:clusters: is 5,000 characters long"]),
    ("vine 0", cluster_rows([(1, 0, 5)]), ["t.csv:2:vine: '0' is below what is possible", "1 or more"]),
    ("digits of another script", cluster_rows([(1, 1, "٣")]), ["t.csv:2:clusters: '٣' is not a number"]),
    ("a formula for a count", cluster_rows([(1, 1, "=1+1")]), ["t.csv:2:clusters: '=1+1' looks like a formula"]),
    (
        "a formula for a code",
        CLUSTERS + 'A1,2022-12-05,random,"=HYPERLINK(1)",1,1,5\n',
        ["counted_by: '=HYPERLINK(1)' looks"],
    ),
    (
        "a formula for a choice",
        CLUSTERS + "A1,2022-12-05,@random,KL,1,1,5\n",
        ["chosen: '@random' looks like a formula"],
    ),
    (
        "an unknown choice",
        CLUSTERS + "A1,2022-12-05,lottery,KL,1,1,5\n",
        ["chosen: 'lottery' is not among", "hand_picked"],
    ),
    ("a slash at the end of a code", CLUSTERS + "A1,2022-12-05,random,KL/,1,1,5\n", ["counted_by: 'KL/'", "/"]),
    ("a code like a number of a record", CLUSTERS + "A1,2022-12-05,random,#12,1,1,5\n", ["counted_by: '#12' begins"]),
    (
        "a long code",
        CLUSTERS + f"A1,2022-12-05,random,{'K' * 61},1,1,5\n",
        ["counted_by: is 61 characters", "at most 60"],
    ),
    (
        "a date of another form",
        cluster_rows([(1, 1, 5)]).replace("2022-12-05", "05.12.2022"),
        ["date: '05.12.2022' is not a date written year-month-day; expected one such as 2024-06-12"],
    ),
    ("a date that is none", cluster_rows([(1, 1, 5)]).replace("2022-12-05", "2022-02-30"), ["'2022-02-30' is no day"]),
    ("a date of zeros", cluster_rows([(1, 1, 5)]).replace("2022-12-05", "0000-00-00"), ["'0000-00-00' is no day"]),
    (
        "a date long ago",
        cluster_rows([(1, 1, 5)]).replace("2022-12-05", "0202-12-05"),
        ["date: '0202-12-05' is out of range"],
    ),
    (
        "a date far ahead",
        cluster_rows([(1, 1, 5)]).replace("2022-12-05", "9999-12-31"),
        ["date: '9999-12-31' is out of"],
    ),
    ("season 9999", VISITS + "A1,9999,2022-06-01,spur\n", ["t.csv:2:season: '9999' is above what is possible"]),
    ("season in two digits", VISITS + "A1,22,2022-06-01,spur\n", ["t.csv:2:season: '22' is not a harvest year"]),
    (
        "far from the season",
        VISITS + "A1,2019,2022-06-01,spur\n",
        ["season: the date 2022-06-01 lies 37 months outside"],
    ),
    (
        "a bad date and a bad season",
        VISITS + "A1,22,2022-13-01,spur\n",
        ["season: '22' is not", "started_on: '2022-13-01'"],
    ),
    ("a bad date, no season", VISITS + "A1,,2022-13-01,spur\n", ["t.csv:2:started_on: '2022-13-01' is no day"]),
    (
        "panels without a size",
        CLUSTERS + "A1,2022-12-05,panels,KL,1,1,5\n",
        ["t.csv:2:panel_size: is empty where chosen"],
    ),
    ("a bearing vine without a count", cluster_rows([(1, 1, "")]), ["clusters: is empty where state is bearing"]),
    (
        "a missing vine with clusters",
        CLUSTERS.replace("\n", ",state\n") + f"{SAMPLE},1,1,5,missing\n",
        ["is filled where state is missing"],
    ),
    ("an unknown unit", PRUNED + "A1,2022-06-01,random,KL,1,1,2 stone\n", ["prunings: 'stone' is not a unit", "kg"]),
    (
        "a unit of another dimension",
        PRUNED + "A1,2022-06-01,random,KL,1,1,2 m\n",
        ["prunings: 'm' is a unit of length"],
    ),
    (
        "an unknown unit in a heading",
        PRUNED.replace("prunings", "prunings [st]"),
        ["t.csv:1:prunings [st]: [st] is not a unit"],
    ),
    (
        "a heading's unit of another dimension",
        PRUNED.replace("prunings", "prunings [ft]"),
        ["[ft] is a unit of length"],
    ),
    (
        "a unit where none belongs",
        CLUSTERS.replace("clusters", "clusters [kg]"),
        ["[kg] stands behind a heading that has no unit"],
    ),
    (
        "thousands with a comma",
        PRUNED + 'A1,2022-06-01,random,KL,1,1,"1,234.5"\n',
        ["prunings: '1,234.5' has a thousands"],
    ),
    (
        "thousands with a point",
        PRUNED + 'A1,2022-06-01,random,KL,1,1,"1.234,5"\n',
        ["'1.234,5' has a thousands separator"],
    ),
    ("thousands with a blank", PRUNED + "A1,2022-06-01,random,KL,1,1,1 234\n", ["'1 234' has a thousands separator"]),
    ("thousands with a hard blank", PRUNED + "A1,2022-06-01,random,KL,1,1,1\u00a0234\n", ["'1 234' has a thousands"]),
    ("thousands with an apostrophe", PRUNED + "A1,2022-06-01,random,KL,1,1,1'234\n", ["has a thousands separator"]),
    ("both signs in a number", PRUNED + 'A1,2022-06-01,random,KL,1,1,"12.34,5"\n', ["has both a comma and a point"]),
    (
        "a comma for a point",
        PRUNED + 'A1,2022-06-01,random,KL,1,1,"2,5"\n',
        ["'2,5' has a comma", "a point as decimal sign"],
    ),
    (
        "both signs in a file",
        PRUNED.replace(",", ";") + "A1;2022-06-01;random;KL;1;1;2,5\nA1;2022-06-01;random;KL;1;2;2.5\n",
        ["t.csv: has numbers with a comma (2,5) and with a point (2.5)"],
    ),
    ("a mass of 90 digits", PRUNED + f"A1,2022-06-01,random,KL,1,1,{'9' * 90}\n", ["larger than can be kept exactly"]),
    ("a hair below zero", PRUNED + "A1,2022-06-01,random,KL,1,1,-0.0000001\n", ["prunings: '-0.0000001' is negative"]),
    ("no number at all", PRUNED + "A1,2022-06-01,random,KL,1,1,kg\n", ["prunings: 'kg' is not a number"]),
    ("an infinite number", PRUNED + "A1,2022-06-01,random,KL,1,1,inf\n", ["prunings: 'inf' is not a number"]),
    (
        "an exponent",
        PRUNED + "A1,2022-06-01,random,KL,1,1,1e3\n",
        ["prunings: '1e3' is written with an exponent; expected all its digits, such as 1000"],
    ),
    (
        "rows closer than possible",
        PLANTED + "A1,2015,Syrah,0.1,1,100\n",
        ["row_spacing: '0.1' is below what is possible", "0.2 m"],
    ),
    (
        "parts that make another sum",
        CENSUS + "A1,2022-11-01,380,12,8,401\n",
        ["bearing 380 + young 12 + missing 8 make 400"],
    ),
    (
        "a part that is no number, and a sum",
        CENSUS + "A1,2022-11-01,x,12,8,401\n",
        ["t.csv:2:bearing: 'x' is not a number"],
    ),
    (
        "net that is not gross less tare",
        TICKETS + "2023-03-01,Scale,7,gross_and_tare,1000,200,801\n",
        ["net: gross - tare: 1000 - 200 is 800, not 801; expected net = gross - tare"],
    ),
    ("net above gross", TICKETS + "2023-03-01,Scale,7,net_as_given,1000,,1001\n", ["net: net is above gross"]),
    ("a ticket of four decimals", TICKETS + "2023-03-01,Scale,7,net_as_given,,,1.2345\n", ["more than three decimals"]),
    (
        "a ticket in ounces",
        TICKETS + "2023-03-01,Scale,7,net_as_given,,,5 oz\n",
        ["'oz' is not a unit of weigh tickets"],
    ),
    (
        "two units on one ticket",
        TICKETS + "2023-03-01,Scale,7,gross_and_tare,1 t,200 kg,800 kg\n",
        ["has masses in kg and in t"],
    ),
    (
        "no number on a ticket, and a rule",
        TICKETS + "2023-03-01,Scale,7,gross_and_tare,x,200,800\n",
        ["gross: 'x' is not a number"],
    ),
    (
        "clusters that do not fit the shoots",
        NODES + "A1,2022-12-05,random,KL,1,1,spur,1,1,2,1\n",
        ["has 1 number where shoots is 2"],
    ),
    (
        "no counts, and a rule",
        NODES + "A1,2022-12-05,random,KL,1,1,spur,1,1,2,1+x\n",
        ["'1+x' is not a list of counts"],
    ),
    (
        "a node position of 5000 digits",
        NODES + f"A1,2022-12-05,random,KL,1,1,spur,1,{'1' * 5000},2,1+1\n",
        ["position: is 5,000 characters"],
    ),
    ("node position 101", NODES + "A1,2022-12-05,random,KL,1,1,spur,1,101,2,1+1\n", ["'101' is not a node position"]),
    ("a row too short", CLUSTERS + "A1,2022-12-05\n", ["t.csv:2: has 2 cells", "7, as in the headings"]),
    ("a row too long", CLUSTERS + f"{SAMPLE},1,1,5,6\n", ["t.csv:2: has 8 cells", "7, as in the headings"]),
    ("a NUL byte", cluster_rows([(1, 1, "5\0")]), ["t.csv: is not text"]),
    (
        "a line break in a cell",
        CLUSTERS + 'A1,2022-12-05,random,"K\nL",1,1,5\n',
        [r"t.csv:2:counted_by: 'K\nL' holds a line break"],
    ),
    (
        "a sign that does not print",
        CLUSTERS + "A1,2022-12-05,random,K\u202eL,1,1,5\n",
        ["holds U+202E, which does not print"],
    ),
    (
        "a huge cell",
        CLUSTERS + f"A1,2022-12-05,random,{'K' * 100_000},1,1,5\n",
        ["counted_by: is 100,000 characters long"],
    ),
    (
        "a cell beyond any limit",
        CLUSTERS + f"A1,2022-12-05,random,{'K' * 200_000},1,1,5\n",
        ["t.csv:2: from here on the text is no CSV"],
    ),
    (
        "a cell of digits and blanks",
        PRUNED + f"A1,2022-06-01,random,KL,1,1,1{' ' * 90_000}5\n",
        ["is 90,002 characters long"],
    ),
    (
        "a quote that is not closed",
        cluster_rows([(1, 1, 5)]) + 'A1,2022-12-05,random,"KL,1,2,5\n',
        ["t.csv:3: from here on the text is no CSV"],
    ),
    ("headings and no rows", CLUSTERS, ["t.csv: has headings and no rows"]),
    (
        "the same vine twice",
        cluster_rows([(1, 1, 5), (1, 2, 5), (1, 1, 6)]),
        ["t.csv:4: has the same key as line 2 (sample, row, vine)"],
    ),
    (
        "no text for a number of a measure",
        "block,from_season,trained,pruned,cordon_length\nA1,2015,cordon,spur,long\n",
        ["cordon_length: 'long' is not a number"],
    ),
]


@pytest.mark.parametrize(("content", "words"), [pytest.param(*case[1:], id=case[0]) for case in CASES])
def test_what_is_wrong_is_told_with_its_place(desk: Desk, content: str, words: list[str]) -> None:
    found = desk.faults_of(t=content)
    assert found, "no finding"
    for word in words:
        assert word in "\n".join(found)


BYTES = [
    ("an empty file", b"", ["t.csv: is empty; expected a row of headings"]),
    ("blanks alone", b" \n\n", ["t.csv: is empty"]),
    ("a byte-order mark alone", b"\xef\xbb\xbf", ["t.csv:1: the first row is empty"]),
    ("UTF-16", CLUSTERS.encode("utf-16"), ["t.csv: is UTF-16 text; expected UTF-8 text"]),
    ("UTF-16 without a mark", CLUSTERS.encode("utf-16-le"), ["t.csv: is not text"]),
    ("Latin-1 headings", "bl\u00f6ck,code\n".encode("latin-1"), ["t.csv:1: is not UTF-8 text"]),
    (
        "Latin-1 in line 3",
        (cluster_rows([(1, 1, 5)]) + "A1,2022-12-05,random,J\u00fcrg,1,2,5\n").encode("latin-1"),
        ["t.csv:3:counted_by: 'J�rg' is not UTF-8 text (byte 0xfc); expected UTF-8 text: save it as CSV UTF-8"],
    ),
    ("an image", b"\x89PNG\r\n\x1a\n\x00\x00", ["t.csv: is not text"]),
    (
        "a damaged workbook",
        b"PK\x03\x04\x14\x00\x06\x00",
        ["t.csv: is a damaged workbook"],
    ),
    ("a quoted heading over two lines", b'"block\n",date\n', ["t.csv:1: the headings cannot be read"]),
]


@pytest.mark.parametrize(("content", "words"), [pytest.param(*case[1:], id=case[0]) for case in BYTES])
def test_a_file_that_is_no_tally_is_told(desk: Desk, content: bytes, words: list[str]) -> None:
    found = "\n".join(desk.faults_of(t=content))
    for word in words:
        assert word in found


def test_a_nul_byte_late_in_a_file_is_found_with_its_line(desk: Desk) -> None:
    rows = [(row, vine, 5) for row in range(1, 301) for vine in range(1, 201)]
    content = cluster_rows(rows) + f"{SAMPLE},301,1,5\0\n"
    assert len(content) > 1 << 20
    assert desk.faults_of(t=content) == [
        "t.csv:60002:clusters: '5\\x00' holds U+0000, which does not print; expected words in one line"
    ]


def test_a_file_over_the_size_is_refused(desk: Desk) -> None:
    path = desk.write("t.csv", cluster_rows([(1, 1, 5)]))
    size = path.stat().st_size
    assert desk.faults(path, max_bytes=size - 1) == [
        f"t.csv: is {size:,} bytes; expected at most {size - 1:,} (raise it with --max-size)"
    ]
    assert desk.load(path, max_bytes=size).tallies[0].rows == 1


def test_all_findings_of_a_call_come_together(desk: Desk) -> None:
    found = desk.faults_of(
        b="block,date,chosen\n",
        a=cluster_rows([(1, 1, "x"), (1, 2, 5), (1, 3, "y")]) + "A1\n",
        c=b"",
        d=CENSUS + "A1,2022-11-01,380,12,8,401\nA2,2022-11-31,1,1,1,3\n",
    )
    places = [words.split(": ")[0] for words in found]
    assert places == sorted(places)
    assert {
        "a.csv:2:clusters",
        "a.csv:4:clusters",
        "a.csv:5",
        "b.csv:1",
        "c.csv",
        "d.csv:2:positions",
        "d.csv:3:date",
    } <= set(places)


def test_findings_beyond_what_is_kept_are_counted(desk: Desk) -> None:
    from vinebook.errors import FindingsError

    path = desk.write("t.csv", cluster_rows([(1, vine, "x") for vine in range(1, 1001)]))
    with pytest.raises(FindingsError, match="1000 faults found; nothing was stored") as caught:
        desk.load(path)
    assert (len(caught.value.findings), caught.value.beyond) == (200, 800)


def test_a_faulty_block_does_not_fault_what_names_it(desk: Desk) -> None:
    found = desk.faults_of(
        block2="vineyard,code,from_season,surveyed_area\nLow Terrace,B1,2015,-2\n",
        clusters=cluster_rows([(1, 1, 5)]).replace("A1", "B1"),
        census=CENSUS + "B1,2022-11-01,380,12,8,400\nB7,2022-11-01,380,12,8,400\n",
    )
    assert [words.split(": ")[0] for words in found] == ["block2.csv:2:surveyed_area", "census.csv:3:block"]


def test_a_faulty_vineyard_faults_neither_its_blocks_nor_their_rows(empty_desk: Desk) -> None:
    found = empty_desk.faults_of(
        vineyard="name,hemisphere\nLow Terrace,west\n",
        block="vineyard,code,from_season\nLow Terrace,A1,2015\n",
        clusters=cluster_rows([(1, 1, 5)]),
    )
    assert [words.split(": ")[0] for words in found] == ["vineyard.csv:2:hemisphere"]


def test_a_file_of_blocks_that_cannot_be_read_does_not_fault_what_names_them(desk: Desk) -> None:
    found = desk.faults_of(
        block2="vineyard,code,from_season,soil\nLow Terrace,B1,2015,loam\n",
        clusters=cluster_rows([(1, 1, 5)]).replace("A1", "B1"),
    )
    assert [words.split(": ")[0] for words in found] == ["block2.csv:1:soil"]


def test_a_block_row_of_a_wrong_length_does_not_fault_what_names_it(desk: Desk) -> None:
    found = desk.faults_of(
        block2="vineyard,code,from_season\nLow Terrace,B1\n", clusters=cluster_rows([(1, 1, 5)]).replace("A1", "B1")
    )
    assert [words.split(": ")[0] for words in found] == ["block2.csv:2"]


def test_rows_overlap_only_where_they_do(desk: Desk) -> None:
    headings = "block,from_season,first_row,last_row,positions\n"
    assert desk.load_texts(rows=headings + "A1,2015,1,10,80\nA2,2015,5,12,80\nA1,2015,11,,70\n").tallies[0].rows == 3
    found = desk.faults_of(more=headings + "A1,2015,10,20,80\nA1,2018,1,20,80\n")
    assert [words.split(";")[0] for words in found] == [
        "more.csv:2:first_row: overlaps row 11 of the same block",
        "more.csv:2:first_row: overlaps rows 1 to 10 of the same block",
    ]


def test_parts_of_a_load_stay_within_its_net(desk: Desk) -> None:
    desk.load_texts(load=TICKETS + "2023-03-01,Scale,7,gross_and_tare,1000,200,800\n")
    headings = "issuer,season,number,block,mass,split,picked\n"
    found = desk.faults_of(
        parts=headings + "Scale,2023,7,A1,500.001,weighed,hand\nScale,2023,7,A2,0.3 t,weighed,hand\n"
    )
    assert [words.split(";")[0] for words in found] == [
        "parts.csv:3:mass: brings the parts of ticket 7 above its net of 800 kg"
    ]
    assert desk.load_texts(
        parts=headings + "Scale,2023,7,A1,500,weighed,hand\nScale,2023,7,A2,0.3 t,weighed,hand\n"
    ).stored


def test_a_part_names_its_ticket_by_every_column(desk: Desk) -> None:
    headings = "issuer,season,number,block,picked\n"
    found = desk.faults_of(parts=headings + "Scale,20x3,7,A1,hand\nScale,2023,8,A1,hand\n")
    assert "parts.csv:2:load: season '20x3' is not a harvest year" in found[0]
    assert "parts.csv:3:load: no load 'Scale/2023/8' is in the book" in found[1]


def test_many_findings_of_one_sort_are_told_as_one(desk: Desk) -> None:
    from vinebook.errors import FindingsError, grouped

    dates = [f"2022-12-{day:02}" for day in range(1, 6)]
    rows = "".join(f"A1,{date.replace('-', '.')},frost\n" for date in dates)
    wrong = desk.write("e.csv", f"block,date,what\n{rows}A9,2022-12-06,frost\n")
    with pytest.raises(FindingsError) as caught:
        desk.load(wrong, desk.write("t.csv", cluster_rows([(1, 1, 5)])))
    assert len(caught.value.findings) == 6
    assert [desk.short(words) for words in grouped(caught.value.findings)] == [
        (
            "e.csv: 5 cells of column date (lines 2 to 6), first '2022.12.01' is not a date written year-month-day; "
            "expected one such as 2024-06-12"
        ),
        "e.csv:7:block: no block 'A9' is in the book; expected the key of a block; `vinebook list block` prints them",
    ]
    assert [desk.short(name) for name in caught.value.faultless] == ["t.csv"]


def test_few_findings_of_one_sort_stay_apart(desk: Desk) -> None:
    from vinebook.errors import FindingsError, grouped

    path = desk.write("t.csv", cluster_rows([(1, vine, "x") for vine in (1, 2, 3)]))
    with pytest.raises(FindingsError) as caught:
        desk.load(path)
    assert grouped(caught.value.findings) == [str(finding) for finding in caught.value.findings]


def test_the_hint_says_when_cells_are_read(desk: Desk) -> None:
    from vinebook.errors import FindingsError

    with pytest.raises(FindingsError) as caught:
        desk.load(desk.write("t.csv", CLUSTERS.replace("chosen", "how") + f"{SAMPLE},1,1,x\n"))
    assert caught.value.hint.endswith("cells are read once their headings are right")
