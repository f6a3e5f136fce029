// Last: the first selection is everything, and the address may name a stop.
stopsheet.stops.clear();
stopsheet.drawer.begin();
