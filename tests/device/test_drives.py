"""Removable drives, read from trees shaped like the kernel's."""

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device.drives import Drive, first_removable, is_removable, mounts, removable_drives

# A handheld with a stick (sdb1), a disk in a USB case that calls itself fixed (sda1), and its own card (mmcblk0p2).
HANDHELD = rb"""22 28 0:20 / /sys rw,nosuid,nodev,noexec,relatime shared:7 - sysfs sysfs rw
23 28 0:21 / /proc rw,nosuid,nodev,noexec,relatime shared:14 - proc proc rw
28 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw
90 28 179:1 / /boot/firmware rw,relatime shared:40 - vfat /dev/mmcblk0p1 rw,fmask=0022,dmask=0022,errors=remount-ro
101 28 179:3 / /mnt/data rw,relatime shared:41 - ext4 /dev/mmcblk0p3 rw
240 28 8:17 / /media/HARBOUR\0401 rw,nosuid,nodev,noexec,relatime shared:130 - vfat /dev/sdb1 rw,uid=999,flush
251 28 8:1 / /run/media/ward/caf\303\251\134box ro,nosuid,nodev,relatime - ext4 /dev/sda1 rw
260 28 0:55 / /media/share rw,relatime shared:140 - cifs //server/share rw
"""
DEVICES = {
    "8:17": ("devices/platform/scb/usb1/1-1/1-1.3/host1/target1/block/sdb", "sdb1", "1"),
    "8:1": ("devices/platform/scb/usb2/2-1/host0/target0/block/sda", "sda1", "0"),
    "179:1": ("devices/platform/mmc0/mmc0:aaaa/block/mmcblk0", "mmcblk0p1", "0"),
    "179:2": ("devices/platform/mmc0/mmc0:aaaa/block/mmcblk0", "mmcblk0p2", "0"),
    "179:3": ("devices/platform/mmc0/mmc0:aaaa/block/mmcblk0", "mmcblk0p3", "0"),
}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "proc/self").mkdir(parents=True)
    (tmp_path / "proc/self/mountinfo").write_bytes(HANDHELD)
    links = tmp_path / "sys/dev/block"
    links.mkdir(parents=True)
    for number, (disk, partition, removable) in DEVICES.items():
        folder = tmp_path / "sys" / disk / partition
        folder.mkdir(parents=True)
        (folder / "partition").write_text("1\n")
        (folder.parent / "removable").write_text(f"{removable}\n")
        (links / number).symlink_to(os.path.relpath(folder, links))
    return tmp_path


def plenty(_path: Path) -> int:
    return 10**9


STICK = Drive(Path("/media/HARBOUR 1"), "vfat", "/dev/sdb1", read_only=False, free_bytes=10**9)
CASED = Drive(Path("/run/media/ward/café\\box"), "ext4", "/dev/sda1", read_only=True, free_bytes=10**9)


def test_only_removable_drives_in_the_places_for_them_are_listed(root):
    assert removable_drives(root, plenty) == [STICK, CASED]


def test_the_first_one_that_can_be_written_is_chosen(root):
    assert first_removable(root, plenty) == STICK.path
    lines = HANDHELD.splitlines(keepends=True)
    (root / "proc/self/mountinfo").write_bytes(b"".join(lines[:5] + lines[6:]))
    assert first_removable(root, plenty) is None


def test_a_drive_pulled_out_while_mounted_is_listed_without_room_and_not_chosen(root):
    def failing(path: Path) -> int:
        assert path == root / "media/HARBOUR 1" or path.name == "café\\box"
        raise OSError(5, "Input/output error")

    assert [drive.free_bytes for drive in removable_drives(root, failing)] == [None, None]
    assert first_removable(root, failing) is None


def test_a_full_drive_is_not_chosen(root):
    assert first_removable(root, lambda _path: 0) is None


def test_a_drive_whose_device_is_gone_is_not_listed(root):
    (root / "sys/dev/block/8:17").unlink()
    assert removable_drives(root, plenty) == [CASED]


def test_free_room_is_the_file_systems_own_for_ordinary_users(root):
    place = root / "media/HARBOUR 1"
    place.mkdir(parents=True)
    drive = removable_drives(root)[0]
    figures = os.statvfs(place)
    assert drive.free_bytes == pytest.approx(figures.f_bavail * figures.f_frsize, abs=10**9)


def test_a_whole_disk_without_partitions_counts_too(root):
    folder = root / "sys/devices/platform/scb/usb1/1-2/block/sdc"
    folder.mkdir(parents=True)
    (folder / "removable").write_text("1\n")
    (root / "sys/dev/block/8:32").symlink_to(folder)
    assert is_removable("8:32", root)
    assert not is_removable("179:3", root)
    assert not is_removable("0:55", root)


def test_the_manual_pages_own_example():
    # proc_pid_mountinfo(5), Linux man-pages
    line = b"36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue\n"
    (mount,) = mounts(line)
    assert (mount.device, mount.path, mount.filesystem, mount.source) == ("98:0", Path("/mnt2"), "ext3", "/dev/root")
    assert not mount.read_only


def test_errors_remount_ro_is_not_read_only():
    mount = next(mount for mount in mounts(HANDHELD) if mount.path == Path("/boot/firmware"))
    assert not mount.read_only


def test_a_later_mount_hides_an_earlier_one_at_the_same_path():
    below = b"36 35 8:17 / /media/a rw - vfat /dev/sdb1 rw\n"
    above = b"37 36 8:1 / /media/a rw - ext4 /dev/sda1 rw\n"
    assert [mount.device for mount in mounts(below + above)] == ["8:1"]


def test_this_machines_own_table_is_read_whole():
    own = Path("/proc/self/mountinfo").read_bytes()
    assert {mount.path for mount in mounts(own)} == {
        Path(line.split()[4].decode("unicode_escape")) for line in own.splitlines()
    }
    assert isinstance(removable_drives(), list)


@given(st.binary())
@settings(deadline=None)
def test_no_bytes_upset_the_reader(data):
    mounts(data)


names = st.text(st.characters(exclude_characters="\0/", exclude_categories=["Cs"]), min_size=1, max_size=20).filter(
    lambda name: name not in (".", "..")
)


@given(names, st.lists(st.sampled_from(["shared:1", "master:22", "propagate_from:3", "unbindable"])), st.booleans())
@settings(deadline=None)
def test_any_name_survives_the_kernels_escaping(name, optional, read_only):
    escaped = "".join(f"\\{ord(c):03o}" if c in " \t\n\\#" else c for c in f"/media/{name}")
    options = "ro" if read_only else "rw"
    line = " ".join(["36", "35", "8:17", "/", escaped, options, *optional, "-", "vfat", "/dev/sdb1", "rw"])
    (mount,) = mounts(line.encode() + b"\n")
    assert mount.path == Path(f"/media/{name}")
    assert mount.read_only == read_only
