# Fälle, und was in ihnen aufgenommen wurde.
recordings-place = Aufnahmen
recordings-about = Fälle und Aufnahmen, gegebener Farbstoff, Export, Vergleich
recordings-back = Alle Fälle

recordings-open-case = Offener Fall
recordings-open-case-about = Alles, was ab jetzt aufgenommen wird, gehört zu diesem Fall. Ein Fall ist ein Code, nie ein Name.
recordings-no-open-case = Keiner
recordings-not-known = nicht bekannt
recordings-new-case = Neuer Fall { $code }
recordings-close-case = Fall schließen
recordings-another-code = Anderer Code
recordings-case-label = Code des Falls
recordings-open-this = Öffnen
recordings-open-this-case = Diesen Fall öffnen
recordings-open-word = offen
recordings-case-opened = Fall { $code } ist offen.
recordings-case-closed = Kein Fall ist offen.
recordings-put-back = Rückgängig

recordings-find = Fall oder Aufnahme suchen
recordings-find-day = Tag
recordings-show-found = Zeigen
recordings-cases = Fälle
recordings-more-cases = Weitere Fälle
recordings-all = Alle Aufnahmen
recordings-found = Gefundene Aufnahmen
recordings-no-case = Ohne Fall
recordings-count = { $count ->
    [one] 1 Aufnahme
   *[other] { $shown } Aufnahmen
 }
recordings-unread = { $count } weitere werden noch durchgesehen.
recordings-pages = Seiten der Liste
recordings-range = { $first } bis { $last } von { $total }
recordings-newer = Neuere
recordings-older = Ältere

recordings-teach = Noch ist nichts aufgenommen. Öffnen Sie hier einen Fall, gehen Sie zu Live und berühren Sie „Aufnahme“ oder „Farbstoff“: Die Aufnahme steht dann hier und kann angesehen, verglichen und exportiert werden.
recordings-empty-case = Zu diesem Fall gibt es noch keine Aufnahme. Öffnen Sie ihn, gehen Sie zu Live und berühren Sie „Aufnahme“.
recordings-nothing-found = Nichts passt. Löschen Sie den Tag oder einen Teil des Codes.

recordings-date-unknown = Datum unbekannt
recordings-gaps = { $count ->
    [one] 1 Lücke
   *[other] { $count } Lücken
 }
recordings-cut-off = abgebrochen, lässt sich trotzdem öffnen
recordings-running = wird aufgenommen
recordings-choose = { $what } auswählen
recordings-more = Mehr
recordings-more-about = Mehr zu { $what }
recordings-change-case = Fall ändern
recordings-new-case-label = Code des Falls
recordings-change-case-yes = Ändern
recordings-case-changed = Die Aufnahme gehört jetzt zu: { $case }.
recordings-leave-it = So lassen
recordings-remove = Entfernen
recordings-remove-question = { $what } entfernen? Die Aufnahme lässt sich zurückholen, bis das Gerät ihren Platz braucht.
recordings-remove-yes = Ja, entfernen
recordings-remove-no = Behalten
recordings-removed-one = Entfernt: { $what }.
recordings-bring-back = Zurückholen
recordings-bring-back-what = { $what } zurückholen
recordings-is-back = Die Aufnahme steht wieder in der Liste.

recordings-removed = Entfernt: { $count }
recordings-removed-about = Diese lassen sich zurückholen. Sind weniger als { $room } Speicher frei, wird die am längsten entfernte endgültig gelöscht.
recordings-removed-at = entfernt { $when }
recordings-forget = Alle endgültig löschen
recordings-forget-question = { $count ->
    [one] 1 Aufnahme endgültig löschen? Nichts holt sie zurück.
   *[other] { $shown } Aufnahmen endgültig löschen? Nichts holt sie zurück.
 }
recordings-forget-yes = Endgültig löschen
recordings-storage = Freier Speicher: { $room }

recordings-chosen-bar = Was mit den ausgewählten Aufnahmen geschieht
recordings-chosen = { $count ->
    [one] 1 ausgewählt. Für einen Vergleich eine zweite wählen.
   *[other] { $count } ausgewählt
 }
recordings-chosen-two = 2 ausgewählt
recordings-compare = Vergleichen
recordings-export = Exportieren
recordings-choose-none = Keine auswählen
