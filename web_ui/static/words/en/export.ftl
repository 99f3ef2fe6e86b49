# Recordings as files for other software.
export-place = Export
export-about = Recordings as files, onto a stick
export-teach = Choose recordings first: touch the box beside each, then Export.
export-choose = Choose recordings
export-choose-others = Choose others
export-what = Recordings
export-missing = Not there, or still being recorded, and left out: { $what }
export-files = Files
export-csv = Tables
export-csv-about = Curves, figures, frames and events, for a spreadsheet
export-png = Pictures
export-png-about = Stills with their legend
export-mp4 = Video
export-mp4-about = The picture as shown, with its legend; it says where the light was off
export-maps = Maps of the inflow
export-maps-about = Pictures with a legend, values as TIFF, a table
export-tiff = Raw frames
export-tiff-about = Every frame as it was measured, 16-bit TIFF, for research
export-language = Legends, captions and cautions speak the language of this page; tables are in English, for other software.
export-about-size = about { $size }
export-where = Where to
export-no-drive = No USB stick is plugged in. Plug one in: it appears here by itself.
export-folder = A folder on the device
export-folder-about = for whoever looks after the device
export-folder-label = Path of the folder
export-drive-free = { $free } free
export-drive-read-only = can only be read: take off its write protection
export-drive-gone = does not answer: pull it out and plug it in again
export-needs = About { $size } to be written.
export-needs-of = About { $size } to be written, { $free } free.
export-no-room = That does not fit: choose fewer files, or another stick.
export-start = Export
export-caution = A case code stands in for the patient: see that no picture or note identifies anyone before files leave. Not a certified medical device.
export-jobs = Exports
export-progress = How far the export is
export-stop = Stop
export-writing = Writing { $what } to { $where }
export-written = { $count ->
    [one] Written to { $where }
   *[other] { $count } recordings written to { $where }
 }
export-was-stopped = Stopped, to { $where }
export-failed = Not everything could be written to { $where }
export-nothing-left = Nothing half written is left there, and nothing is lost here: start it again when you like.
export-whole-stay = Recordings that are whole stay there, nothing half written is left, and nothing is lost here.
export-checked = { $count ->
    [one] 1 file, { $size }, read back and compared. manifest.json lists it with its checksum.
   *[other] { $count } files, { $size }, read back and compared. manifest.json lists each with its checksum.
 }
export-pull-written = All of it is on the stick, read back, and nothing waits to be written: the stick can be pulled out now. A computer may offer to check it, as the device has no right to sign sticks off.
export-pull = Nothing is being written to the stick now, and nothing waits: it can be pulled out.
export-pull-not-known = The stick does not say that all has reached it. Switch the device off before you pull it out, then look at the stick on a computer.
export-notes = Notes
