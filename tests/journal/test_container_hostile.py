"""A damaged, forged or hostile file is refused in one sentence, and the journal stays as it was."""

from __future__ import annotations

import json
import random
import re
import stat
import zlib
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile, ZipInfo

import pytest

from riskrules.journal import container_zip
from riskrules.journal.container import export, import_container
from riskrules.journal.records import Note, Pick
from riskrules.journal.store import Journal, JournalError, open_journal

from .container_bodies import told_of
from .small_records import JPEG, PNG, made
from .test_container import filled

Files = dict[str, bytes]
HASH = sha256(PNG).hexdigest()
PHOTO = f"photos/{HASH}.png"


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """Return a container that is as it should be."""
    folder = tmp_path_factory.mktemp("whole")
    with open_journal(folder / "a.db", clock=lambda: 1_990_000_000) as journal:
        filled(journal)
        export(journal, None, folder / "a.zip")
    return folder / "a.zip"


def files_of(path: Path) -> Files:
    with ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def forged(files: Files, path: Path) -> Path:
    """Write files as a container whose description fits them, as a forger would."""
    said = json.loads(files["datapackage.json"])
    for each in said["resources"]:
        if each["path"] in files:
            data = files[each["path"]]
            each |= {"bytes": len(data), "hash": f"sha256:{sha256(data).hexdigest()}"}
    files["datapackage.json"] = json.dumps(said).encode()
    return packed(files, path)


def packed(files: Files, path: Path) -> Path:
    with ZipFile(path, "w", ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


@pytest.fixture(scope="module")
def mine(tmp_path_factory) -> Iterator[Journal]:
    """Return a journal that no refused file may change, so that all tests can share it."""
    with open_journal(tmp_path_factory.mktemp("mine") / "mine.db") as journal:
        journal.add([made(Note(text="mine"))])
        journal.add_photo(JPEG)
        yield journal


def refused(path: Path, journal: Journal, said: str) -> None:
    """Check that a file is refused in one sentence and leaves a journal as it was."""
    before = told_of(journal)
    with pytest.raises(JournalError, match=said) as caught:
        import_container(path, journal)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 600
    assert told_of(journal) == before
    assert journal.check() == []


def edited(name: str, old: str, new: str) -> Callable[[Files], object]:
    def edit(files: Files) -> None:
        assert old.encode() in files[name], (old, files[name])
        files[name] = files[name].replace(old.encode(), new.encode(), 1)

    return edit


FORGED = [
    ("a count that cannot be", edited("sightings.csv", ",3,40,", ",41,40,"),
     r"sightings.csv:\d+: 41 affected of 40 examined; expected 0 to 40"),
    ("stops that say other", edited("stops.csv", ",3,40,", ",2,40,"),
     r"sightings.csv:\d+: 3 of 40, but the stops sum up to 2 of 40"),
    ("no number", edited("picks.csv", ",0.1,", ",many,"),
     r"picks.csv:\d+: weight_kg is 'many'; expected a number such as 12.5"),
    ("digits of another script", edited("sightings.csv", ",3,40,", ",٣,40,"),
     r"sightings.csv:\d+: affected is .*; expected a whole number"),
    ("a number without end", edited("picks.csv", ",0.1,", ",1e999,"),
     r"picks.csv:\d+: weight_kg: .*less than or equal"),
    ("a metre without end", edited("walk_stops.csv", ",3.5", ",1e999"), "stops is inf"),
    ("no time", edited("picks.csv", "1970-01-01T00:00:08+00:00", "yesterday"),
     r"picks.csv:\d+: time is 'yesterday'; expected a time such as"),
    ("no such day", edited("picks.csv", "1970-01-01T00:00:08+00:00", "1970-02-30T00:00:00+00:00"),
     r"picks.csv:\d+: time is .*; expected a time such as"),
    ("a time without offset", edited("picks.csv", "00:00:08+00:00", "00:00:08"),
     r"picks.csv:\d+: time is .*; expected a time such as"),
    ("a word not in the list", edited("hand_work.csv", ",cull,", ",spray,"),
     r"hand_work.csv:\d+: what: Input should be .*\(it is 'spray'\)"),
    ("no BBCH code", edited("stages.csv", ",60 65,", ",60 66,"),
     r"stages.csv:\d+: codes: 66 is no BBCH code"),
    ("a block that is a formula", edited("picks.csv", ",north,", ",=1+1,"),
     r"picks.csv:\d+: block: .*\(it is '=1\+1'\)"),
    ("a wide row", edited("picks.csv", "north,", "north,x,"),
     r"picks.csv:\d+: 15 cells; expected 14"),
    ("other columns", edited("picks.csv", "weight_kg", "weight_lb"),
     r"picks.csv:1: columns are .*; expected number, time"),
    ("a number twice", edited("picks.csv", "\n9,", "\n8,"), ": 8 is there twice; expected it"),
    ("a record gone", lambda files: files.update(
        {"hand_work.csv": files["hand_work.csv"].split(b"\n")[0] + b"\n"}),
     r"number is 11; expected 10: a record is missing"),
    ("a stop of no record", edited("stops.csv", "\na0", "\nb0"),
     r"stops.csv:2: record 'b0.*' is not there; expected one of the records"),
    ("a place left out", edited("stops.csv", ",1,1,3,", ",2,1,3,"),
     r"stops.csv:2: place is 2; expected 1"),
    ("a quote too many", edited("picks.csv", "north", 'no"rth'),
     r"picks.csv:\d+: a quote stands where none may"),
    ("a quote that never ends", lambda files: files.update(
        {"notes.csv": files["notes.csv"] + b'9,"abc'}),
     r"notes.csv:\d+: a quote stands where none may"),
    ("bytes that are no text", lambda files: files.update(
        {"picks.csv": files["picks.csv"] + b"\xff"}), r"picks.csv:\d+: byte 0xff is not UTF-8"),
    ("a NUL in a note", edited("notes.csv", "see", "s\0e"), "holds a NUL character"),
    ("no JSON", edited("differing.csv", '"{', '"['), "differing.csv:2: content is not JSON"),
    ("deep JSON", lambda files: files.update({"differing.csv": files["differing.csv"].split(
        b"\n")[0] + b"\n1,a,2030-01-01T00:00:00Z,note," + b"[" * 200_000}),
     "differing.csv:2: content is not JSON"),
    ("a photo that is none", lambda files: files.update({PHOTO: b"MZ no picture"}), "no image"),
    ("another photo", lambda files: files.update({PHOTO: JPEG}), "is not the photo that it is"),
    ("a photo not listed", edited("photos.csv", PHOTO + ",image/png", ",image/png"),
     "is not both in the file and in photos.csv"),
    ("a photo twice", lambda files: files.update({"photos.csv": files["photos.csv"]
        + files["photos.csv"].splitlines(keepends=True)[-1]}), "is there twice"),
    ("a photo of another length", edited("photos.csv", f"png,{len(PNG)},", "png,9,"),
     "is not the photo that it is"),
    ("a photo led elsewhere", edited("photos.csv", PHOTO, "../../x.png"),
     r"photos.csv:\d: file is '../../x.png'; expected 'photos/"),
    ("a newer format", lambda files: files.update(
        {"datapackage.json": files["datapackage.json"].replace(b'mat": 1', b'mat": 2')}),
     "is of format 2; this version knows 1: update the program"),
    ("a table gone", lambda files: files.pop("picks.csv"), "does not hold just the files"),
    ("a file too many", lambda files: files.update({"run.exe": b"x"}), "'run.exe'; nothing"),
]  # fmt: skip


@pytest.mark.parametrize(("edit", "said"), [f[1:] for f in FORGED], ids=[f[0] for f in FORGED])
def test_a_forged_file_is_refused_though_its_hashes_fit(whole, mine, tmp_path, edit, said):
    files = files_of(whole)
    edit(files)
    refused(forged(files, tmp_path / "x.zip"), mine, said)


@pytest.mark.parametrize("name", ["picks.csv", "notes.csv", PHOTO, "code_lists.csv", "blocks.csv"])
def test_a_file_with_another_hash_is_refused(whole, mine, tmp_path, name):
    files = files_of(whole)
    sound = files[name]
    for data in (sound + b"\n", sound[:-1], sound[:-1] + bytes([sound[-1] ^ 1])):
        files[name] = data
        refused(packed(files, tmp_path / "x.zip"), mine, "its hash differs")


@pytest.mark.parametrize(
    "text", [b"", b"{", b"[]", b"[" * 200_000, b'{"resources": 1}', b"\xff", b"9" * 5000]
)
def test_a_description_that_is_none_is_refused(whole, mine, tmp_path, text):
    files = files_of(whole) | {"datapackage.json": text}
    refused(packed(files, tmp_path / "x.zip"), mine, "is no description of a journal")


def test_no_description_and_no_zip_are_refused(whole, mine, tmp_path):
    files = files_of(whole)
    del files["datapackage.json"]
    refused(packed(files, tmp_path / "x.zip"), mine, "has no datapackage.json")
    (tmp_path / "y.zip").write_bytes(b"")
    refused(tmp_path / "y.zip", mine, "is no zip, or is cut off")
    (tmp_path / "z.zip").write_bytes(b"time,event\n" * 100)
    refused(tmp_path / "z.zip", mine, "is no zip, or is cut off")
    refused(tmp_path, mine, "cannot be read")


@pytest.mark.parametrize(
    "name",
    [
        "../x.csv",
        "/etc/x",
        "a/../../x",
        "C:\\x",
        "a\\..\\x",
        "a//b",
        "folder/",
        "./a",
        "c:x",
        "a\0b",
    ],
)
def test_a_path_that_leads_elsewhere_is_refused(whole, mine, tmp_path, name):
    path = tmp_path / "x.zip"
    path.write_bytes(whole.read_bytes())
    with ZipFile(path, "a") as archive:
        info = ZipInfo("placeholder")
        info.filename = name
        archive.writestr(info, b"x")
    refused(path, mine, "has a path that leads elsewhere")
    assert not (tmp_path.parent / "x.csv").exists()


def with_member(whole: Path, path: Path, **values: object) -> Path:
    path.write_bytes(whole.read_bytes())
    with ZipFile(path, "a") as archive:
        info = ZipInfo("more.csv")
        for name, value in values.items():
            setattr(info, name, value)
        archive.writestr(info, b"x")
    return path


def test_links_other_packings_and_twins_are_refused(whole, mine, tmp_path):
    path = tmp_path / "x.zip"
    link = (stat.S_IFLNK | 0o777) << 16
    refused(with_member(whole, path, external_attr=link), mine, "is a link or a device")
    refused(with_member(whole, path, compress_type=ZIP_BZIP2), mine, "is packed in a way")
    with pytest.warns(UserWarning, match="Duplicate name"):
        with_member(whole, path, filename="picks.csv")
    refused(path, mine, "'picks.csv' stands twice")
    raw = bytearray(whole.read_bytes())
    raw[raw.rindex(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(raw)
    refused(path, mine, "is locked with a password")


def test_bombs_are_refused_before_they_are_unpacked(whole, mine, tmp_path):
    path = tmp_path / "x.zip"
    files = files_of(whole)
    zeros = bytes(container_zip.TABLE_LIMIT // 3)
    files["picks.csv"] = files["notes.csv"] = zeros
    refused(packed(files, path), mine, "would unpack to .* expected at most 200 times")
    files = files_of(whole) | {PHOTO: bytes(10_000_001)}
    refused(packed(files, path), mine, "unpacks to 10,000,001 bytes; expected at most 10,000,000")


def test_a_member_that_claims_less_than_it_holds_is_not_unpacked_beyond_that(whole, mine, tmp_path):
    """The size in both headers is forged: only so many bytes are unpacked, with a wrong sum."""
    path = tmp_path / "x.zip"
    files = files_of(whole)
    files["picks.csv"] = bytes(5_000_000)
    raw = bytearray(packed(files, path).read_bytes())
    size, less = (5_000_000).to_bytes(4, "little"), (10).to_bytes(4, "little")
    assert raw.count(size) == 2
    path.write_bytes(raw.replace(size, less))
    refused(path, mine, "picks.csv in x.zip is damaged: Bad CRC")


def test_members_that_lie_over_one_another_are_refused(whole, mine, tmp_path):
    """As in the bombs that name the same packed bytes again and again."""
    raw = whole.read_bytes()
    with ZipFile(whole) as archive:
        start, count = archive.start_dir, len(archive.infolist())
    end = raw.rindex(b"PK\x05\x06")
    entries, more = raw[start:end], 40
    ends = re.compile(rb"\.(csv|png|jpg|json)")
    twins = b"".join(
        ends.sub(lambda m, i=i: b".%0*d" % (len(m[1]), i), entries) for i in range(more)
    )
    total = count * (more + 1)
    tail = bytearray(raw[end:])
    tail[8:12] = total.to_bytes(2, "little") * 2
    tail[12:16] = (len(entries) + len(twins)).to_bytes(4, "little")
    path = tmp_path / "x.zip"
    path.write_bytes(raw[:end] + twins + tail)
    with ZipFile(path) as archive:
        assert len(archive.infolist()) == total
    refused(path, mine, "lie over one another")


def test_a_file_cut_anywhere_or_with_a_byte_changed_is_refused_or_the_same(whole, tmp_path):
    """A changed byte may be in a date or comment of the zip, which nobody reads."""
    raw, chance = whole.read_bytes(), random.Random(5)
    with open_journal(tmp_path / "right.db") as right:
        import_container(whole, right)
        expected = told_of(right)
    spoiled = [raw[: chance.randrange(len(raw))] for _ in range(30)]
    for _ in range(120):
        at = chance.randrange(len(raw))
        spoiled.append(raw[:at] + bytes([raw[at] ^ 1 << chance.randrange(8)]) + raw[at + 1 :])
    path, refusals = tmp_path / "x.zip", 0
    journal = open_journal(tmp_path / "mine.db")
    for each in spoiled:
        path.write_bytes(each)
        try:
            import_container(path, journal)
        except JournalError:
            refusals += 1
            assert journal.last() == 0 and journal.photos() == []
        else:
            assert told_of(journal) == expected
            journal.close()
            for file in tmp_path.glob("mine.db*"):
                file.unlink()
            journal = open_journal(tmp_path / "mine.db")
    journal.close()
    assert refusals > 100


def test_a_photo_found_wrong_at_the_very_end_undoes_all_before_it(
    whole, mine, tmp_path, monkeypatch
):
    read = container_zip.Members.read

    def broken(self: container_zip.Members, name: str) -> bytes:
        if name.startswith("photos/") and name.endswith(".jpg"):
            raise JournalError("the stick was pulled out")
        return read(self, name)

    monkeypatch.setattr(container_zip.Members, "read", broken)
    refused(whole, mine, "the stick was pulled out")


def test_records_that_replace_one_another_in_a_ring_are_refused(whole, mine, tmp_path):
    a, b = made(Pick()), made(Pick())
    files = files_of(whole)
    with open_journal(tmp_path / "ring.db") as journal:
        ring = [
            a.model_copy(update={"replaces": b.id, "why": "x"}),
            b.model_copy(update={"replaces": a.id, "why": "x"}),
        ]
        journal.add(ring[:1])
        export(journal, None, tmp_path / "ring.zip")
        files = files_of(tmp_path / "ring.zip")
        row = files["picks.csv"].decode("utf-8-sig").split("\r\n")[1]
        swapped = row.replace(str(a.id), "A").replace(str(b.id), str(a.id)).replace("A", str(b.id))
        files["picks.csv"] += ("2" + swapped[1:] + "\r\n").encode()
    refused(forged(files, tmp_path / "x.zip"), mine, "would replace itself by way of others")
    with open_journal(tmp_path / "empty.db") as journal:
        with pytest.raises(JournalError, match="would replace itself"):
            import_container(tmp_path / "x.zip", journal)
        assert journal.last() == 0


def test_zlib_packs_no_more_than_the_limit_supposes():
    """Deflate reaches 1,032 to 1 (zlib's documentation, memory): so a limit is needed at all."""
    size = 10_000_000
    assert size / len(zlib.compress(bytes(size), 9)) > container_zip.PACKED
