# Emparejar, y quién controla.
pairing-title = Emparejar esta tableta
pairing-word = Palabra que muestra el aparato
pairing-pair = Emparejar
pairing-use-button = Usar el botón del aparato
pairing-caution = No es un producto sanitario certificado. Muestra la intensidad relativa, no la viabilidad. Las decisiones corresponden a profesionales autorizados y a las normas locales.

pairing-tablets = Tabletas
pairing-tablets-open = Tabletas, y quién controla
pairing-ask-control = Pedir el control
pairing-type-word = Escribir la palabra que muestra el aparato
pairing-invite = Invitar a una tableta a mirar
pairing-invitation-picture = Código que debe leer la cámara de la otra tableta
pairing-leave = Desemparejar esta tableta
pairing-revoke-all = Desemparejar todas las tabletas
