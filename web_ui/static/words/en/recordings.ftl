# Cases, and what was recorded in them.
recordings-place = Recordings
recordings-about = Cases and what was recorded, dye given, export, compare
recordings-back = All cases

recordings-open-case = Open case
recordings-open-case-about = Everything recorded from now on is of this case. A case is a code, never a name.
recordings-no-open-case = None
recordings-not-known = not known
recordings-new-case = New case { $code }
recordings-close-case = Close the case
recordings-another-code = Another code
recordings-case-label = Code of the case
recordings-open-this = Open
recordings-open-this-case = Open this case
recordings-open-word = open
recordings-case-opened = Case { $code } is open.
recordings-case-closed = No case is open.
recordings-put-back = Put it back

recordings-find = Find a case or recording
recordings-find-day = Day
recordings-show-found = Show
recordings-cases = Cases
recordings-more-cases = More cases
recordings-all = All recordings
recordings-found = Recordings found
recordings-no-case = Without a case
recordings-count = { $count ->
    [one] 1 recording
   *[other] { $shown } recordings
 }
recordings-unread = { $count } more are still being looked through.
recordings-pages = Pages of the list
recordings-range = { $first } to { $last } of { $total }
recordings-newer = Newer
recordings-older = Older

recordings-teach = Nothing is recorded yet. Open a case here, go to Live, and touch Record or Dye in: the recording is then listed here, to be looked at again, compared and exported.
recordings-empty-case = This case has no recordings yet. Open it, go to Live, and touch Record.
recordings-nothing-found = Nothing fits. Take away the day, or part of the code.

recordings-date-unknown = date unknown
recordings-gaps = { $count ->
    [one] 1 gap
   *[other] { $count } gaps
 }
recordings-cut-off = cut off, opens all the same
recordings-running = being recorded
recordings-choose = Choose { $what }
recordings-more = More
recordings-more-about = More about { $what }
recordings-change-case = Change the case
recordings-new-case-label = Code of its case
recordings-change-case-yes = Change
recordings-case-changed = The recording is now of: { $case }.
recordings-leave-it = Leave it
recordings-remove = Remove
recordings-remove-question = Remove { $what }? It can be brought back until the device needs its room.
recordings-remove-yes = Remove it
recordings-remove-no = Keep it
recordings-removed-one = Removed: { $what }.
recordings-bring-back = Bring back
recordings-bring-back-what = Bring back { $what }
recordings-is-back = The recording is back in the list.

recordings-removed = Removed: { $count }
recordings-removed-about = These can be brought back. While less than { $room } of storage is free, the one removed longest ago is deleted for good.
recordings-removed-at = removed { $when }
recordings-forget = Delete all of them for good
recordings-forget-question = { $count ->
    [one] Delete 1 recording for good? Nothing brings it back.
   *[other] Delete { $shown } recordings for good? Nothing brings them back.
 }
recordings-forget-yes = Delete for good
recordings-storage = Storage left: { $room }

recordings-chosen-bar = What is done with the chosen recordings
recordings-chosen = { $count ->
    [one] 1 chosen. Choose a second one to compare.
   *[other] { $count } chosen
 }
recordings-chosen-two = 2 chosen
recordings-compare = Compare
recordings-export = Export
recordings-choose-none = Choose none
