# Koppeln, und wer steuert.
pairing-title = Dieses Tablet koppeln
pairing-word = Wort, das das Gerät anzeigt
pairing-pair = Koppeln
pairing-use-button = Taste am Handgerät benutzen
pairing-caution = Kein zugelassenes Medizinprodukt. Es zeigt relative Intensität, nicht Vitalität. Entscheidungen bleiben bei approbierten Fachleuten und den örtlichen Vorschriften.

pairing-tablets = Tablets
pairing-tablets-open = Tablets, und wer steuert
pairing-ask-control = Um Steuerung bitten
pairing-type-word = Wort eingeben, das das Gerät anzeigt
pairing-invite = Ein Tablet zum Zusehen einladen
pairing-invitation-picture = Code, den die Kamera des anderen Tablets einlesen soll
pairing-leave = Dieses Tablet entkoppeln
pairing-revoke-all = Alle Tablets entkoppeln
