# Dye of a case. Advice to look things up by, never a prescription.
dye-title = Dye given in this case
dye-given = { $mg } mg given ({ $ml } mL where mixed as on the label, { $concentration } mg/mL)
dye-given-at-least = At least { $mg } mg given ({ $ml } mL where mixed as on the label, { $concentration } mg/mL)
dye-limit = { $percent } % of the label's limit of { $mg } mg for { $kg } kg
dye-limit-at-least = At least { $percent } % of the label's limit of { $mg } mg for { $kg } kg
dye-limit-unknown = Label's limit: { $limit } mg for each kg of body mass. Enter the body mass to see it beside the dose.
dye-meter = Dose so far, beside the label's limit
dye-left = About { $left } mg may still be in the blood, for half-lives of { $shortest } to { $longest } min: an estimate.
dye-mg = { $mg } mg
dye-no-dose = dose not entered
dye-left-share = about { $left } % left
dye-range = { $least } to { $most }
dye-from-recording = marked in a recording
dye-typed = typed in
dye-ahead = ahead of the device's clock
dye-minutes-ago = { $minutes } min ago
dye-hours-ago = { $hours } h { $minutes } min ago
dye-days-ago = { $days } days ago

dye-entries = Enter a dose or the body mass
dye-dose-label = Dose given, mg
dye-ago-label = Minutes ago
dye-enter-dose = Enter dose
dye-mass-label = Body mass, kg
dye-enter-mass = Enter body mass
dye-entered = { $mg } mg entered.
dye-mass-entered = Body mass { $kg } kg entered.
dye-enter-its-dose = Enter its dose
dye-take-back = Take back
dye-take-back-what = Take back: { $what }
dye-take-back-question = Take back { $what }? The record keeps both entries.
dye-taken-back = Taken back.

dye-cautions = Cautions
