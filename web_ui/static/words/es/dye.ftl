# Colorante de un caso. Para consultar, nunca una prescripción.
dye-title = Colorante administrado en este caso
dye-given = { $mg } mg administrados ({ $ml } ml, preparados según la ficha técnica)
dye-limit = { $percent } % del límite de la ficha técnica, { $mg } mg para { $kg } kg
dye-limit-unknown = Límite de la ficha técnica: { $limit } mg por kg de masa corporal. Introduzca la masa corporal para verlo junto a la dosis.
dye-limit-reached = Se ha alcanzado o superado el límite de la ficha técnica.
dye-meter = Dosis hasta ahora, junto al límite de la ficha técnica
dye-left = Pueden quedar en sangre unos { $least } a { $most } mg, con semividas de { $shortest } a { $longest } min: es una estimación.
dye-mg = { $mg } mg
dye-no-dose = dosis no introducida
dye-left-share = queda un { $least } a { $most } % aproximadamente
dye-from-recording = marcada en una grabación
dye-typed = introducida a mano
dye-ahead = por delante del reloj del equipo
dye-without-dose = { $count ->
    [one] 1 inyección está marcada sin dosis y no entra en ninguna suma.
   *[other] { $count } inyecciones están marcadas sin dosis y no entran en ninguna suma.
 }
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
dye-take-back = Retirar
dye-take-back-what = Retirar: { $what }
dye-take-back-question = ¿Retirar { $what }? El registro conserva ambas anotaciones.
dye-taken-back = Retirada.

dye-cautions = Precauciones
dye-caution-advice = solo orientativo: sobre cada dosis deciden la ficha técnica del vial que se tiene en la mano, las normas locales y los profesionales habilitados
dye-caution-limit = ficha técnica: la dosis total debe quedar por debajo de 2 mg/kg de masa corporal
dye-caution-iodide = ficha técnica: contiene hasta un 5 % de yoduro de sodio; precaución si no se toleran los yoduros o el colorante; también ha habido reacciones graves sin esos antecedentes, por lo que deben estar a mano los medios para tratarlas
dye-caution-mixing = ficha técnica: mezclar solo con el agua estéril suministrada, usar en las 6 horas siguientes a la mezcla, desechar lo que no esté transparente
dye-caution-iodine = ficha técnica: ningún estudio de captación de yodo durante la semana siguiente
dye-caution-left = lo que queda se refiere a colorante dado en una vena, en un adulto sano, durante unos 2 a 20 minutos: después baja más despacio, y con un hígado enfermo mucho más despacio; bajo la piel, el colorante permanece horas o más
