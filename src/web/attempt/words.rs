//! Words of the page of an attempt itself, in English and Spanish.

use crate::web::words::words;

words! {
    caution: "Caution", "Precaución";
    by: "Made by", "Lo hace";
    since: "since", "desde las";
    simulated: "SIMULATED: nobody can take these probes into ice, a pot or a hand. What works here is a calibration beside a reference thermometer: say that it shows about what the probe shows. For all else there are simulated probes that you hold, see README.md, «Practise first»:", "SIMULADO: nadie puede llevar estas sondas al hielo, a una olla o a la mano. Aquí funciona la calibración junto a un termómetro de referencia: diga que marca más o menos lo que marca la sonda. Para lo demás hay sondas simuladas que usted mueve, vea README.md, «Practise first»:";
    ends: "It ends by itself, with nothing on record, unless something is pressed before", "Termina solo, sin registrar nada, si no se pulsa algo antes de:";
    theirs: "Somebody else is at it. You may look on, or end it: nothing of it then goes on record.", "Lo está haciendo otra persona. Puede mirar, o terminarlo: entonces no se registra nada.";
    give_up: "Give up: nothing of it goes on record", "Abandonar: no se registra nada";
    end_theirs: "End it: nothing of it goes on record", "Terminarlo: no se registra nada";
    look: "Look at it", "Verlo";
    go_on: "Go on with it", "Seguir con ello";
    probe_shows: "What the probe shows just now", "Lo que marca la sonda ahora";
    not_at_work: "Nobody has said that this machine is worked on: its racks are judged, and people are called, by what its probes show meanwhile.", "No consta que se trabaje en esta máquina: sus canastas se evalúan, y se avisa, por lo que muestren sus sondas mientras tanto.";
    called_off: "The work on this machine was said to be over while this was open: its racks are judged, and people are called, by what its probes show from then on.", "Se dijo que el trabajo en esta máquina había terminado con esto abierto: desde entonces sus canastas se evalúan, y se avisa, por lo que muestren sus sondas.";
    say_so: "Say that it is worked on", "Decir que se trabaja en ella";
    choose: "Choose the first bath below.", "Elija abajo el primer baño.";
    press: "Press «Begin» below.", "Pulse «Empezar» abajo.";
    as_needed: "as this needs. When all is done, end the work, then run a test rack.", "como hace falta para esto. Cuando todo esté hecho, termine el trabajo y lave luego una canasta de prueba.";
    hang: "Let the tips of all its probes hang free, and let them come to rest. Then one after the other is warmed: by a dry hand, or in a cup of warm water.", "Deje libres las puntas de todas sus sondas y que reposen. Después se calienta una tras otra: con la mano seca, o en un vaso de agua tibia.";
    end_work: "End the work on it", "Terminar el trabajo en ella";
    end_here: "To end it, put it on record or give it up: below", "Para terminarlo, regístrelo o abandónelo: abajo";
    wrong: "Not taken:", "No se aceptó:";
    begin: "Begin", "Empezar";
    announce: "Say that this machine is worked on until 3 min after the end of this: its racks are marked unproven, and nobody is called for what its probes show", "Decir que se trabaja en esta máquina hasta 3 min después del final de esto: sus canastas quedan sin comprobar y no se avisa a nadie por lo que muestren sus sondas";
    baths: "Which bath is next?", "¿Qué baño sigue?";
    ice: "Ice and water", "Hielo y agua";
    ice_go: "Ice bath", "Baño de hielo";
    pressure: "Boiling water, the air pressure is measured", "Agua hirviendo, con la presión medida";
    pressure_field: "Pressure at this place", "Presión en este lugar";
    pressure_hint: "Of a barometer in this room, not the one of a forecast, which is told for sea level.", "De un barómetro en esta sala, no la del pronóstico, que se da para el nivel del mar.";
    unit: "Unit", "Unidad";
    boil_go: "Boiling water", "Agua hirviendo";
    altitude: "Boiling water, only the altitude is known", "Agua hirviendo, solo se conoce la altitud";
    altitude_field: "Altitude", "Altitud";
    altitude_hint: "Less sure than a barometer: the weather is not known.", "Menos segura que un barómetro: no se conoce el tiempo que hace.";
    thermometer: "Beside a reference thermometer", "Junto a un termómetro de referencia";
    named: "Which thermometer (name or number)", "Qué termómetro (nombre o número)";
    shows: "The reference thermometer shows", "El termómetro de referencia marca";
    shows_hint: "Put both into the water first and stir; read it when it has come to rest.", "Meta primero los dos en el agua y remueva; léalo cuando se quede quieto.";
    sure: "Uncertainty of the reference ±", "Incertidumbre de la referencia ±";
    sure_hint: "As its certificate says, k = 2.", "Según su certificado, k = 2.";
    beside_go: "Compare with it", "Comparar con él";
    water: "Temperature of warm water, where a cup of it is used (may stay empty: a dry hand)", "Temperatura del agua tibia, si se usa un vaso (puede quedar vacía: la mano seca)";
    water_hint: "by a thermometer.", "con un termómetro.";
    results: "Result", "Resultado";
    note: "Note (may stay empty)", "Nota (puede quedar vacía)";
    record: "Put it on record", "Registrar";
    record_hint: "Under your name. It is in force from then on, and never changed.", "Con su nombre. Vale desde ese momento y no se modifica nunca.";
    not_recorded: "It did not come on record", "No se registró";
    probe: "Probe", "Sonda";
    plan: "Best: ice and boiling water, or the reference thermometer near the limit. Each takes some minutes.", "Lo mejor: hielo y agua hirviendo, o el termómetro de referencia cerca del límite. Cada uno lleva unos minutos.";
}
