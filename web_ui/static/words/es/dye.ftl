# Colorante de un caso. Para consultar, nunca una prescripción.
dye-title = Colorante administrado en este caso
dye-given = { $mg } mg administrados ({ $ml } ml si se preparó según la ficha técnica, { $concentration } mg/ml)
dye-given-at-least = Al menos { $mg } mg administrados ({ $ml } ml si se preparó según la ficha técnica, { $concentration } mg/ml)
dye-limit = { $percent } % del límite de la ficha técnica, { $mg } mg para { $kg } kg
dye-limit-at-least = Al menos { $percent } % del límite de la ficha técnica, { $mg } mg para { $kg } kg
dye-limit-unknown = Límite de la ficha técnica: { $limit } mg por kg de masa corporal. Introduzca la masa corporal para verlo junto a la dosis.
dye-meter = Dosis hasta ahora, junto al límite de la ficha técnica
dye-left = Pueden quedar en sangre unos { $left } mg, con semividas de { $shortest } a { $longest } min: es una estimación.
dye-mg = { $mg } mg
dye-no-dose = dosis no introducida
dye-left-share = queda un { $left } % aproximadamente
dye-range = { $least } a { $most }
dye-from-recording = marcada en una grabación
dye-typed = introducida a mano
dye-ahead = por delante del reloj del equipo
dye-minutes-ago = hace { $minutes } min
dye-hours-ago = hace { $hours } h { $minutes } min
dye-days-ago = hace { $days } días

dye-entries = Introducir una dosis o la masa corporal
dye-dose-label = Dosis administrada, mg
dye-ago-label = Hace cuántos minutos
dye-enter-dose = Introducir la dosis
dye-mass-label = Masa corporal, kg
dye-enter-mass = Introducir la masa corporal
dye-entered = { $mg } mg introducidos.
dye-mass-entered = Masa corporal de { $kg } kg introducida.
dye-enter-its-dose = Introducir su dosis
dye-take-back = Retirar
dye-take-back-what = Retirar: { $what }
dye-take-back-question = ¿Retirar { $what }? El registro conserva ambas anotaciones.
dye-taken-back = Retirada.

dye-cautions = Precauciones
