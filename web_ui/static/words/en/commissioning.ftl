# Commissioning, and the check before a case.
commissioning-place = Commissioning and check
commissioning-about = What is calibrated, and the check before a case
commissioning-list = Check and steps
commissioning-back = All steps
commissioning-next = Next
commissioning-not-known = The camera does not answer, so nothing is known of its calibration. This looks again by itself.

commissioning-check = Check before a case
commissioning-dark = Dark
commissioning-defects = Defects
commissioning-flat = Flat field
commissioning-gain = Gain
commissioning-light = Light output
commissioning-scale = Scale
commissioning-sharpness = Sharpness
commissioning-leakage = Leakage
commissioning-sensitivity = Sensitivity
commissioning-history = Earlier calibrations
commissioning-papers = Certificate and targets

commissioning-check-about = Under a minute: dark level, new defects, leakage, light that answers and trips, room, supply, clock, calibration.
commissioning-dark-about = What every pixel counts without any light.
commissioning-defects-about = Pixels that are hot, noisy, or odd in light; their neighbours stand in for them.
commissioning-flat-about = How lens, ring and pixels differ over the picture.
commissioning-gain-about = Counts an electron and noise, from frames at rising exposures. Every uncertainty rests on it.
commissioning-light-about = What each level of the ring really gives, so that dimming changes no result.
commissioning-scale-about = Millimetres a pixel, and how the lens bends straight lines.
commissioning-sharpness-about = How much contrast fine detail keeps.
commissioning-leakage-about = How much of the ring's own light comes through the filter.
commissioning-sensitivity-about = The least dye that is seen, and how far the signal is proportional to it.
commissioning-history-about = Every calibration is kept. Taking an older one up again keeps it once more, newly dated; nothing is lost.
commissioning-papers-about = Papers to look at, save or print. They are in English.

commissioning-check-guide =
    Stand the handheld in its dark box on the plain card, the window clean, as at commissioning.
    The ring lights for about a second, and is tripped on purpose.
commissioning-dark-guide =
    Let the handheld run for ten minutes, so that the sensor has its working temperature.
    Cap the lens so that no light comes in, or put the handheld face down on black cloth in a dark room.
    The ring stays dark.
commissioning-even-guide =
    Fix the handheld square over an even, dull target that glows in its filter: a dye card. It fills the whole picture and does not move.
    Darken the room.
    The ring lights at its highest level, a few seconds in all.
commissioning-gain-guide =
    Fix the handheld square over an even, dull target that glows in its filter: a dye card. It fills the whole picture and does not move.
    Darken the room.
    The ring lights at its highest level about fourteen times, half a second each.
commissioning-light-guide =
    Let the ring rest for a minute. Fix the handheld over an even, dull target that glows or reflects a little in its filter: a dye card, or matt white card.
    It fills the middle third of the picture and does not move. Darken the room, or at least switch off lamps that flicker.
    The ring lights at each level, up and down again, about half a second each.
commissioning-scale-guide =
    Print the dot grid with a laser printer on stiff, matt paper, at 100 %, and check its rulers. Most inkjet ink is not seen in the near infrared.
    Lay it flat, its middle in the picture's middle, square to the handheld, at your working distance.
    Light it evenly: daylight or a halogen lamp may help.
    The ring lights at its highest level, a few seconds in all.
commissioning-sharpness-guide =
    Print the slanted edge with a laser printer on stiff, matt paper, at 100 %.
    Lay it flat, its middle in the picture's middle, in focus at your working distance; no other edge in the middle of the picture.
    Light it evenly: daylight or a halogen lamp may help.
    The ring lights at its highest level, a few seconds in all.
commissioning-leakage-guide =
    Take the dye card away and put matt white card without dye in its place, at the same distance. It fills the picture.
    Darken the room.
    The ring lights at its highest level, a few seconds in all.
commissioning-sensitivity-guide =
    Fill eight equal wells with your dilutions, one of them without dye, equally deep. Place them on the printed sheet: the upper row from left to right, then the lower one, in the order in which you name their concentrations.
    Put the sheet's middle in the picture's middle, at the distance of the scale step. Darken the room.
    Gloves and goggles; the label of the dye decides on mixing and on how long a solution keeps.
    The ring lights at its highest level, a few seconds in all.

commissioning-caution-title = The ring will light
commissioning-caution = Its light is mostly invisible. Do not look into it. Goggles for everyone near it; keep others away. Any tablet that controls, and the handheld's button, can end it at once.
commissioning-warned = Everyone near is warned, and nobody looks into the ring
commissioning-stays-dark = The ring stays dark in this step.
commissioning-watched = Keep this page in sight: where nobody watches for five seconds, it ends by itself, the light first.
commissioning-distance = From the lens to the sheet, mm
commissioning-pitch = From dot to dot, mm, as measured over ten
commissioning-concentrations = Concentrations of the eight wells, with spaces between; one of them 0
commissioning-unit = Their unit
commissioning-need-eight = Eight different numbers are needed, one for each well: 0 for the well without dye.
commissioning-need-number = A number is needed here.

commissioning-take = Take this step
commissioning-take-again = Take it again
commissioning-make-check = Make the check
commissioning-check-again = Check again
commissioning-start-lit = Start: the ring lights
commissioning-start-dark = Start
commissioning-cancel = Not now
commissioning-stop = Stop
commissioning-running = { $step }: in progress
commissioning-running-since = for { $seconds } s
commissioning-ring-lit = The ring is lit
commissioning-ring-dark = The ring is dark
commissioning-begins = getting ready
commissioning-ended = It ended without a result: { $why }
commissioning-other-runs = { $step } is in progress. One thing at a time.
commissioning-target-simulated = This is the rehearsal: targets are put before the simulated camera by themselves.

commissioning-result = { $step }: the result
commissioning-keep = Keep
commissioning-discard = Discard
commissioning-keep-why = Kept, it is the newest calibration. Nothing older is lost.
commissioning-kept = Kept. It is in force once it was put there.
commissioning-discarded = Discarded. The calibration before it stays.
commissioning-undo = Undo
commissioning-discard-question = Discard this result? It cannot be brought back; the step can be taken again.
commissioning-tripped = The light has tripped: { $why }. Put that right, then arm it again; that lights nothing.
commissioning-arm = Arm the light again
commissioning-waits = A result waits: keep or discard it.
commissioning-look-at-it = Look at it

commissioning-figure = Figure
commissioning-value = Value
commissioning-limit = Limit
commissioning-before = Before
commissioning-within = within
commissioning-outside = OUTSIDE
commissioning-figures-about = Values with their standard uncertainty. Limits are this project's own choice.
commissioning-taken = Taken { $when }
commissioning-age = { $days ->
    [0] today
    [one] { $days } day ago
   *[other] { $days } days ago
  }
commissioning-never = never taken
commissioning-failing = outside its limit
commissioning-old = too old: take it again
commissioning-frames-in = Frames in { $recording }
commissioning-needs = First: { $steps }.

commissioning-passed = PASSED
commissioning-failed = FAILED
commissioning-pass = pass
commissioning-fail = FAIL
commissioning-check-made = Check of { $when }
commissioning-check-none = No check was made yet.
commissioning-checks-before = Checks before
commissioning-put-right = Put right what failed, then check again.
commissioning-in-progress = in progress

commissioning-next-decide = A result waits for your decision: { $step }.
commissioning-next-start = Nothing is calibrated: results rest on assumptions. Begin with Dark.
commissioning-next-step = { $step } is missing. It comes next.
commissioning-next-force = The newest calibration is not in force yet. Starting the camera's program again takes some seconds; there is no picture meanwhile.
commissioning-next-force-now = Put it in force
commissioning-next-old = { $step } is { $days } days old, more than { $limit }. Take it again.
commissioning-next-failing = { $step } is outside its limit. See what is said there, then take it again.
commissioning-next-check = Calibrated. Before a case, make the check.
commissioning-next-check-failed = The last check failed. Put right what failed, then check again.
commissioning-next-ready = Calibrated, and the check of today passed.
commissioning-next-optional = { $step } was never taken. Results do not need it; the certificate tells more with it.
commissioning-next-live = To the picture
commissioning-not-for-replay = A replayed clip has no sensor: there is nothing to calibrate. The printable targets can be had all the same.
commissioning-force-asked = Put the newest calibration in force? The picture is gone for some seconds.
commissioning-forcing = The camera's program starts again.

commissioning-in-force = in force
commissioning-newest = newest
commissioning-lacks = lacks { $steps }
commissioning-again-from = again from { $name }
commissioning-use = Use this one
commissioning-used = Taken up again. It is in force once it was put there.
commissioning-no-calibrations = None is kept yet.

commissioning-certificate = Certificate
commissioning-certificate-about = Every figure of the newest calibration beside its limit, with its curves, as PDF.
commissioning-targets = Printable targets
commissioning-targets-about = Dot grid, slanted edge, places of the even target and of the wells. Print at 100 %, with a laser printer on matt paper, and measure both rulers.
commissioning-target-a4 = Paper A4
commissioning-target-letter = Paper Letter
commissioning-write-paper = Write it
commissioning-writing = is being written …
commissioning-open-paper = Open the PDF
commissioning-save-paper = Save
commissioning-paper-failed = It could not be written: { $why }

commissioning-curve-none = No curve was kept of this step.
commissioning-curve-dark = Pixels by their mean count
commissioning-curve-defects = Where the defects lie
commissioning-curve-flat = Percent of the brightest place
commissioning-curve-gain = Photon transfer (EMVA 1288)
commissioning-curve-light = Output beside full level
commissioning-curve-sharpness = Contrast of fine detail (ISO 12233)
commissioning-curve-leakage = Percent of the dye card's signal there
commissioning-curve-sensitivity = Dilution row
commissioning-axis-counts = counts
commissioning-axis-pixels = pixels
commissioning-axis-x = pixels to the right
commissioning-axis-y = pixels down
commissioning-axis-signal = counts above dark
commissioning-axis-variance = variance, counts²
commissioning-axis-level = level
commissioning-axis-output = output
commissioning-axis-frequency = cycles a pixel
commissioning-axis-contrast = contrast
commissioning-axis-concentration = concentration
commissioning-axis-signal-ms = signal, counts/ms
commissioning-series-measured = measured
commissioning-series-line = line
commissioning-series-proportional = proportional
commissioning-series-places = defects
commissioning-series-share = share
commissioning-mark-sharpness = MTF50
commissioning-mark-sensitivity = limit of detection
commissioning-of-check-storage = Room
commissioning-of-check-clock = Clock
commissioning-of-check-calibration = Calibration
commissioning-of-check-dark-level = Dark level
commissioning-of-check-new-defects = New defects
commissioning-of-check-leakage = Leakage
commissioning-of-check-light-answers = Light answers
commissioning-of-check-light-trips = Light trips
commissioning-of-check-supply = Supply
commissioning-of-check-light-conditions = Light conditions
