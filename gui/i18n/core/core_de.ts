<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE TS>
<TS version="2.1" language="de_DE">
<context>
    <name>core</name>
    <message>
        <source>The battery or pack is flat or weak</source>
        <translation>Die Batterie oder das Akkupack ist leer oder schwach</translation>
    </message>
    <message>
        <source>The source gives nothing: switched off, isolator open, terminal off</source>
        <translation>Die Quelle gibt nichts: ausgeschaltet, Trennschalter offen, Klemme ab</translation>
    </message>
    <message>
        <source>The pack or jump starter cuts its output after seconds</source>
        <translation>Das Akkupack oder der Starthilfespeicher schaltet nach Sekunden ab</translation>
    </message>
    <message>
        <source>The bench supply current limit is set too low</source>
        <translation>Die Strombegrenzung des Netzgeräts steht zu niedrig</translation>
    </message>
    <message>
        <source>The supply holds the running current but trips at switch-on</source>
        <translation>Die Quelle hält den Betriebsstrom, schaltet aber beim Einschalten ab</translation>
    </message>
    <message>
        <source>The source gives too much (24 V pack, charger, boost mode)</source>
        <translation>Die Quelle gibt zu viel (24-V-Pack, Lader, Verstärkungsbetrieb)</translation>
    </message>
    <message>
        <source>The source is connected the wrong way round</source>
        <translation>Die Quelle ist verpolt angeschlossen</translation>
    </message>
    <message>
        <source>The source is a charger or a noisy supply without battery</source>
        <translation>Die Quelle ist ein Lader oder ein unruhiges Netzgerät ohne Batterie</translation>
    </message>
    <message>
        <source>The in-line fuse of the rig lead is open</source>
        <translation>Die Sicherung in der Speiseleitung ist offen</translation>
    </message>
    <message>
        <source>The in-line fuse is too small for the start-up current and has opened</source>
        <translation>Die Sicherung in der Leitung ist zu klein für den Anlaufstrom und hat ausgelöst</translation>
    </message>
    <message>
        <source>The feed lead is broken or its clip grips nothing</source>
        <translation>Die Speiseleitung ist gebrochen, oder ihre Klemme greift nicht</translation>
    </message>
    <message>
        <source>The feed lead is too long, too thin or corroded</source>
        <translation>Die Speiseleitung ist zu lang, zu dünn oder korrodiert</translation>
    </message>
    <message>
        <source>The feed sits on the supply side of the fuse slot</source>
        <translation>Die Speisung sitzt auf der Zuleitungsseite des Sicherungsplatzes</translation>
    </message>
    <message>
        <source>The feed is in the slot of another circuit</source>
        <translation>Die Speisung steckt im Platz eines anderen Stromkreises</translation>
    </message>
    <message>
        <source>The module fuse is open or missing</source>
        <translation>Die Sicherung des Moduls ist offen oder fehlt</translation>
    </message>
    <message>
        <source>The supply wire to the module is broken or its pin is pushed back</source>
        <translation>Die Versorgungsleitung zum Modul ist gebrochen, oder ihr Kontakt ist zurückgeschoben</translation>
    </message>
    <message>
        <source>The supply joint at the module is corroded</source>
        <translation>Die Versorgungsverbindung am Modul ist korrodiert</translation>
    </message>
    <message>
        <source>The second feed (ignition feed) is missing</source>
        <translation>Die zweite Speisung (Zündung) fehlt</translation>
    </message>
    <message>
        <source>The wake-up input or the key-on message is missing</source>
        <translation>Der Weckeingang oder die Botschaft „Zündung ein“ fehlt</translation>
    </message>
    <message>
        <source>The ignition is off</source>
        <translation>Die Zündung ist aus</translation>
    </message>
    <message>
        <source>The diagnostic connector fuse is open</source>
        <translation>Die Sicherung der Diagnosebuchse ist offen</translation>
    </message>
    <message>
        <source>The connector shares its fuse with the accessory outlet and it is open</source>
        <translation>Die Buchse teilt ihre Sicherung mit der Steckdose für Zubehör, und sie ist offen</translation>
    </message>
    <message>
        <source>The connector fuse is not fed at all on this source</source>
        <translation>Die Sicherung der Buchse wird an dieser Quelle gar nicht gespeist</translation>
    </message>
    <message>
        <source>Pin 16 is open: pushed back or wire broken</source>
        <translation>Pin 16 ist offen: zurückgeschoben oder Leitung gebrochen</translation>
    </message>
    <message>
        <source>The ground clamp bites on paint or rust</source>
        <translation>Die Masseklemme sitzt auf Lack oder Rost</translation>
    </message>
    <message>
        <source>The ground clamp is off or its lead is open</source>
        <translation>Die Masseklemme ist ab, oder ihre Leitung ist offen</translation>
    </message>
    <message>
        <source>The battery or body ground strap is poor</source>
        <translation>Das Masseband der Batterie oder der Karosserie ist schlecht</translation>
    </message>
    <message>
        <source>Pin 4 (chassis ground) of the connector is open</source>
        <translation>Pin 4 (Fahrzeugmasse) der Buchse ist offen</translation>
    </message>
    <message>
        <source>Pin 5 (signal ground) of the connector is open</source>
        <translation>Pin 5 (Signalmasse) der Buchse ist offen</translation>
    </message>
    <message>
        <source>The module ground is open or poor</source>
        <translation>Die Masse des Moduls ist offen oder schlecht</translation>
    </message>
    <message>
        <source>Interface and module hang on different sources without a common ground</source>
        <translation>Interface und Modul hängen an verschiedenen Quellen ohne gemeinsame Masse</translation>
    </message>
    <message>
        <source>The interface ground and the module ground differ by volts</source>
        <translation>Die Massen von Interface und Modul liegen Volt auseinander</translation>
    </message>
    <message>
        <source>CAN high is shorted to ground</source>
        <translation>CAN high hat Schluss gegen Masse</translation>
    </message>
    <message>
        <source>CAN high is shorted to supply</source>
        <translation>CAN high hat Schluss gegen die Versorgung</translation>
    </message>
    <message>
        <source>CAN low is shorted to ground</source>
        <translation>CAN low hat Schluss gegen Masse</translation>
    </message>
    <message>
        <source>CAN low is shorted to supply</source>
        <translation>CAN low hat Schluss gegen die Versorgung</translation>
    </message>
    <message>
        <source>CAN high and CAN low touch each other</source>
        <translation>CAN high und CAN low berühren sich</translation>
    </message>
    <message>
        <source>CAN high is open at the connector</source>
        <translation>CAN high ist an der Buchse offen</translation>
    </message>
    <message>
        <source>CAN low is open at the connector</source>
        <translation>CAN low ist an der Buchse offen</translation>
    </message>
    <message>
        <source>CAN high is open towards the module</source>
        <translation>CAN high ist zum Modul hin offen</translation>
    </message>
    <message>
        <source>CAN low is open towards the module</source>
        <translation>CAN low ist zum Modul hin offen</translation>
    </message>
    <message>
        <source>CAN high and CAN low are swapped</source>
        <translation>CAN high und CAN low sind vertauscht</translation>
    </message>
    <message>
        <source>No termination at all</source>
        <translation>Gar kein Abschlusswiderstand</translation>
    </message>
    <message>
        <source>Only one terminator</source>
        <translation>Nur ein Abschlusswiderstand</translation>
    </message>
    <message>
        <source>One terminator too many, our own or the interface&apos;s among them</source>
        <translation>Ein Abschlusswiderstand zu viel, unserer oder der des Interfaces mitgezählt</translation>
    </message>
    <message>
        <source>Moisture or damage leaks the bus wires (water)</source>
        <translation>Feuchtigkeit oder ein Schaden lässt die Busleitungen lecken (Wasser)</translation>
    </message>
    <message>
        <source>Another node holds the bus dominant</source>
        <translation>Ein anderer Teilnehmer hält den Bus dominant</translation>
    </message>
    <message>
        <source>The bit rate is wrong</source>
        <translation>Die Bitrate stimmt nicht</translation>
    </message>
    <message>
        <source>The module sits on another pair of pins</source>
        <translation>Das Modul sitzt an einem anderen Paar von Pins</translation>
    </message>
    <message>
        <source>The module talks K-line, not CAN</source>
        <translation>Das Modul spricht K-Leitung, nicht CAN</translation>
    </message>
    <message>
        <source>11-bit identifiers used, the module listens to 29-bit (or reverse)</source>
        <translation>Kennungen mit 11 Bit gesendet, das Modul hört auf 29 Bit (oder umgekehrt)</translation>
    </message>
    <message>
        <source>The request goes to the wrong address</source>
        <translation>Die Anfrage geht an die falsche Adresse</translation>
    </message>
    <message>
        <source>The gateway between connector and module has no supply</source>
        <translation>Das Gateway zwischen Buchse und Modul hat keine Versorgung</translation>
    </message>
    <message>
        <source>The gateway does not pass the request</source>
        <translation>Das Gateway reicht die Anfrage nicht weiter</translation>
    </message>
    <message>
        <source>The interface is set to listen only and nobody else acknowledges</source>
        <translation>Das Interface hört nur zu, und niemand sonst bestätigt</translation>
    </message>
    <message>
        <source>Another tester is talking on the bus</source>
        <translation>Ein anderes Diagnosegerät spricht auf dem Bus</translation>
    </message>
    <message>
        <source>The module went to sleep by itself</source>
        <translation>Das Modul ist von selbst eingeschlafen</translation>
    </message>
    <message>
        <source>The module answers later than the client waits</source>
        <translation>Das Modul antwortet später, als der Fragende wartet</translation>
    </message>
    <message>
        <source>The module refuses: session or security</source>
        <translation>Das Modul verweigert: Sitzung oder Zugangsschutz</translation>
    </message>
    <message>
        <source>The module goes bus-off or error-passive again and again</source>
        <translation>Das Modul geht immer wieder auf Bus-off oder fehlerpassiv</translation>
    </message>
    <message>
        <source>The module is dead and draws nothing</source>
        <translation>Das Modul ist tot und nimmt keinen Strom</translation>
    </message>
    <message>
        <source>The module input is shorted</source>
        <translation>Der Eingang des Moduls hat Schluss</translation>
    </message>
    <message>
        <source>The module runs but its bus driver is dead</source>
        <translation>Das Modul läuft, aber sein Bustreiber ist tot</translation>
    </message>
    <message>
        <source>The module runs and acknowledges but its software never answers</source>
        <translation>Das Modul läuft und bestätigt, aber seine Software antwortet nie</translation>
    </message>
    <message>
        <source>The module resets again and again by itself</source>
        <translation>Das Modul startet immer wieder von selbst neu</translation>
    </message>
    <message>
        <source>The request was sent before the module had started</source>
        <translation>Die Anfrage kam, bevor das Modul gestartet war</translation>
    </message>
    <message>
        <source>The interface is defective or its own fuse is open</source>
        <translation>Das Interface ist defekt, oder seine eigene Sicherung ist offen</translation>
    </message>
    <message>
        <source>The interface plug does not make contact</source>
        <translation>Der Stecker des Interfaces hat keinen Kontakt</translation>
    </message>
    <message>
        <source>The bus side of the interface is dead</source>
        <translation>Die Busseite des Interfaces ist tot</translation>
    </message>
    <message>
        <source>The program uses the wrong port or the driver is missing</source>
        <translation>Das Programm nutzt den falschen Anschluss, oder der Treiber fehlt</translation>
    </message>
    <message>
        <source>The crash cut-off at the battery has parted the vehicle from it</source>
        <translation>Die Crash-Abschaltung an der Batterie hat das Fahrzeug von ihr getrennt</translation>
    </message>
    <message>
        <source>The main fuse is open, for instance from an earlier reversed booster</source>
        <translation>Die Hauptsicherung ist offen, etwa von früherer verpolter Starthilfe</translation>
    </message>
    <message>
        <source>A timer has switched the connector&apos;s supply off</source>
        <translation>Eine Zeitschaltung hat die Versorgung der Buchse abgeschaltet</translation>
    </message>
    <message>
        <source>A splitter or a plug-in device sits in the connector</source>
        <translation>In der Buchse steckt ein Verteiler oder ein Steckgerät</translation>
    </message>
    <message>
        <source>A bus terminal of the connector is spread and grips nothing</source>
        <translation>Ein Buskontakt der Buchse ist aufgebogen und greift nicht</translation>
    </message>
    <message>
        <source>Nobody else is on these wires, and our own acknowledge may hide it</source>
        <translation>Niemand sonst ist an diesen Leitungen, und unsere eigene Bestätigung kann das verdecken</translation>
    </message>
    <message>
        <source>The port that the interface hangs on is asleep</source>
        <translation>Der Anschluss, an dem das Interface hängt, schläft</translation>
    </message>
    <message>
        <source>The module is half alive on its reserve and has not started anew</source>
        <translation>Das Modul lebt halb aus seiner Reserve und ist nicht neu gestartet</translation>
    </message>
    <message>
        <source>The module answers only shortly after power-up</source>
        <translation>Das Modul antwortet nur kurz nach dem Einschalten</translation>
    </message>
    <message>
        <source>The bus speaks CAN FD, the interface is set to classic frames</source>
        <translation>Der Bus spricht CAN FD, das Interface ist auf klassische Rahmen gestellt</translation>
    </message>
    <message>
        <source>Nothing on this side is wrong: look at the other equipment</source>
        <translation>Auf dieser Seite ist nichts falsch: am anderen Gerät suchen</translation>
    </message>
    <message>
        <source>Does the vehicle stand, chocked, off any hook or fork, and will nobody move it?</source>
        <translation>Steht das Fahrzeug, mit Keilen gesichert, frei von Haken und Gabel, und wird es niemand bewegen?</translation>
    </message>
    <message>
        <source>Moved or struck while powered, the module may take that for an event.</source>
        <translation>Wird das Modul unter Strom bewegt oder angestoßen, kann es das für ein Ereignis halten.</translation>
    </message>
    <message>
        <source>Is nobody inside, at the doors or before a restraint, and is everybody told?</source>
        <translation>Ist niemand im Fahrzeug, an den Türen oder vor einem Rückhaltesystem, und wissen alle Bescheid?</translation>
    </message>
    <message>
        <source>A restraint that has not deployed can do so when power comes.</source>
        <translation>Ein Rückhaltesystem, das nicht ausgelöst hat, kann auslösen, wenn Strom kommt.</translation>
    </message>
    <message>
        <source>Is the module dry: no water line inside above its place, no wet carpet around it?</source>
        <translation>Ist das Modul trocken: innen kein Wasserrand oberhalb seines Platzes, kein nasser Teppich um es herum?</translation>
    </message>
    <message>
        <source>Water between pins can fire a restraint or destroy what is stored.</source>
        <translation>Wasser zwischen den Pins kann ein Rückhaltesystem auslösen oder das Gespeicherte zerstören.</translation>
    </message>
    <message>
        <source>Is the restraint wiring whole: none cut, crushed or pulled out; or made safe by trained people? Look, do not measure.</source>
        <translation>Ist die Verkabelung der Rückhaltesysteme heil: nichts durchtrennt, gequetscht oder herausgezogen; oder von geschulten Leuten gesichert? Ansehen, nicht messen.</translation>
    </message>
    <message>
        <source>A damaged circuit may be shorted to a feed; it is never measured.</source>
        <translation>Ein beschädigter Kreis kann Schluss zu einer Speisung haben; er wird nie gemessen.</translation>
    </message>
    <message>
        <source>Is there no high voltage on board, or is it made safe by somebody qualified for it?</source>
        <translation>Ist kein Hochvolt an Bord, oder ist es von jemandem gesichert, der dafür qualifiziert ist?</translation>
    </message>
    <message>
        <source>A damaged high-voltage system counts as live and charged.</source>
        <translation>Ein beschädigtes Hochvoltsystem gilt als unter Spannung und geladen.</translation>
    </message>
    <message>
        <source>Is it a 12 V system: one 12 V source, no boost or 24 V output?</source>
        <translation>Ist es ein 12-V-System: eine 12-V-Quelle, kein Verstärkungs- oder 24-V-Ausgang?</translation>
    </message>
    <message>
        <source>Too many volts destroy the module and what is stored.</source>
        <translation>Zu viele Volt zerstören das Modul und das Gespeicherte.</translation>
    </message>
    <message>
        <source>Did you wait, with all supplies off, as long as this vehicle&apos;s own service information says before anything was joined or unjoined?</source>
        <translation>Wurde ohne jede Speisung so lange gewartet, wie es die Serviceunterlagen dieses Fahrzeugs sagen, bevor etwas verbunden oder getrennt wurde?</translation>
    </message>
    <message>
        <source>Until its reserve is empty a restraint system can act; there is no general figure.</source>
        <translation>Bis seine Reserve leer ist, kann ein Rückhaltesystem auslösen; es gibt keinen allgemeinen Wert.</translation>
    </message>
    <message>
        <source>Restraints keep stored energy after power is taken off: wait as long as this vehicle&apos;s own service information says; there is no general figure.</source>
        <translation>Rückhaltesysteme halten gespeicherte Energie, nachdem der Strom weggenommen ist: so lange warten, wie es die Serviceunterlagen dieses Fahrzeugs sagen; es gibt keinen allgemeinen Wert.</translation>
    </message>
    <message>
        <source>People clear of restraints before power; nobody inside, nobody at the doors; the vehicle stands and stays still.</source>
        <translation>Leute weg von Rückhaltesystemen, bevor Strom kommt; niemand im Fahrzeug, niemand an den Türen; das Fahrzeug steht und bleibt ruhig stehen.</translation>
    </message>
    <message>
        <source>Never measure at deployment loops or at a module&apos;s own terminals: a meter can fire a restraint.</source>
        <translation>Nie an Zündkreisen der Rückhaltesysteme oder an den eigenen Kontakten eines Moduls messen: Ein Messgerät kann ein Rückhaltesystem auslösen.</translation>
    </message>
    <message>
        <source>High voltage on board: assume it is live and charged; leave it to people qualified for it.</source>
        <translation>Hochvolt an Bord: als unter Spannung und geladen ansehen; denen überlassen, die dafür qualifiziert sind.</translation>
    </message>
    <message>
        <source>Batteries give off hydrogen: eye protection, no sparks, last clamp away from the battery; never into a cracked, frozen or leaking one.</source>
        <translation>Batterien geben Wasserstoff ab: Augenschutz, keine Funken, letzte Klemme abseits der Batterie; nie in eine gerissene, gefrorene oder auslaufende speisen.</translation>
    </message>
    <message>
        <source>Follow the vehicle&apos;s service information, local codes and licensed practice; this is no substitute for them.</source>
        <translation>Serviceunterlagen des Fahrzeugs, örtliche Vorschriften und zugelassene Fachpraxis befolgen; dies ersetzt sie nicht.</translation>
    </message>
    <message>
        <source>Ignition off, key away; everything else on the battery off.</source>
        <translation>Zündung aus, Schlüssel weg; alles andere an der Batterie aus.</translation>
    </message>
    <message>
        <source>What is joined to a live module can start it, or start it twice.</source>
        <translation>Was mit einem Modul unter Strom verbunden wird, kann es starten oder zweimal starten.</translation>
    </message>
    <message>
        <source>power is off: declared, or told by a meter</source>
        <translation>der Strom ist aus: angesagt oder von einem Messgerät gezeigt</translation>
    </message>
    <message>
        <source>Ground of the vehicle: battery strap and body strap tight and bright.</source>
        <translation>Masse des Fahrzeugs: Masseband der Batterie und der Karosserie fest und blank.</translation>
    </message>
    <message>
        <source>A bad strap takes volts under load, and then the module starts again and again.</source>
        <translation>An einem schlechten Masseband fällt unter Last Spannung ab, und dann startet das Modul immer wieder.</translation>
    </message>
    <message>
        <source>step ground is sound: its drop is low under load</source>
        <translation>Schritt Masse ist in Ordnung: ihr Abfall unter Last ist gering</translation>
    </message>
    <message>
        <source>Look into the diagnostic connector: straight, clean contacts, no device or splitter of somebody else. Then plug the interface in.</source>
        <translation>In die Diagnosebuchse sehen: gerade, saubere Kontakte, kein fremdes Gerät, kein fremder Verteiler. Dann das Interface einstecken.</translation>
    </message>
    <message>
        <source>A pushed-back contact and a forgotten device are found for free here.</source>
        <translation>Ein zurückgeschobener Kontakt und ein vergessenes Gerät finden sich hier umsonst.</translation>
    </message>
    <message>
        <source>Interface powered from pin 16; its lamp lights.</source>
        <translation>Interface aus Pin 16 gespeist; seine Lampe leuchtet.</translation>
    </message>
    <message>
        <source>An unlit lamp is most often the connector&apos;s fuse.</source>
        <translation>Eine dunkle Lampe ist meist die Sicherung der Buchse.</translation>
    </message>
    <message>
        <source>step interface is sound</source>
        <translation>Schritt Interface ist in Ordnung</translation>
    </message>
    <message>
        <source>Interface and its computer find each other; computers on their own battery, lids open, sleep off.</source>
        <translation>Interface und sein Rechner finden einander; Rechner auf eigenem Akku, Deckel offen, Ruhezustand aus.</translation>
    </message>
    <message>
        <source>It is free to find out now, and costs a power-up later.</source>
        <translation>Das jetzt herauszufinden ist umsonst, später kostet es eine Einschaltung.</translation>
    </message>
    <message>
        <source>Our monitor joined, listening only: no error frame, and no other tester asks.</source>
        <translation>Unser Monitor dabei, hört nur zu: kein Fehlerrahmen, und kein anderes Diagnosegerät fragt.</translation>
    </message>
    <message>
        <source>An adapter at a wrong rate disturbs a bus that is evidence.</source>
        <translation>Ein Adapter mit falscher Bitrate stört einen Bus, der Beweismittel ist.</translation>
    </message>
    <message>
        <source>The other program is one button away from its read-out.</source>
        <translation>Das andere Programm ist einen Tastendruck vom Auslesen entfernt.</translation>
    </message>
    <message>
        <source>Seconds of power are seconds in which something can happen.</source>
        <translation>Sekunden unter Strom sind Sekunden, in denen etwas geschehen kann.</translation>
    </message>
    <message>
        <source>Power on, last and once, by the switch; then that button at once.</source>
        <translation>Strom ein, zuletzt und einmal, am Schalter; dann sofort jener Tastendruck.</translation>
    </message>
    <message>
        <source>Each power-up counts.</source>
        <translation>Jede Einschaltung zählt.</translation>
    </message>
    <message>
        <source>power is on: declared, or told by a meter</source>
        <translation>der Strom ist an: angesagt oder von einem Messgerät gezeigt</translation>
    </message>
    <message>
        <source>Is the source the 24 V that this job is for, both batteries in series as one?</source>
        <translation>Ist die Quelle die mit 24 V, für die dieser Auftrag gilt, beide Batterien in Reihe als eine?</translation>
    </message>
    <message>
        <source>Source joined to nothing, its switch open or its output off.</source>
        <translation>Quelle mit nichts verbunden, ihr Schalter offen oder ihr Ausgang aus.</translation>
    </message>
    <message>
        <source>An accessory plug that is pushed in by hand bounces, and each bounce can be a start.</source>
        <translation>Ein von Hand eingesteckter Zubehörstecker prellt, und jedes Prellen kann ein Start sein.</translation>
    </message>
    <message>
        <source>Module&apos;s fuse out; slot adapter with a fused lead on the load blade: the one without battery volts in the emptied slot.</source>
        <translation>Sicherung des Moduls heraus; Sicherungsadapter mit abgesicherter Leitung auf den Lastkontakt: den ohne Batteriespannung im leeren Platz.</translation>
    </message>
    <message>
        <source>On the other blade the module gets nothing and the rest of the vehicle wakes.</source>
        <translation>Am anderen Kontakt bekommt das Modul nichts, und der Rest des Fahrzeugs wacht auf.</translation>
    </message>
    <message>
        <source>Ground clamp on bright metal near the module&apos;s ground, bolted through the body: not on paint, seat rail or hinge. The last clamp goes on away from the battery.</source>
        <translation>Masseklemme auf blankes Metall nahe der Masse des Moduls, durch die Karosserie verschraubt: nicht auf Lack, Sitzschiene oder Scharnier. Die letzte Klemme kommt abseits der Batterie an.</translation>
    </message>
    <message>
        <source>Paint and hinges take volts under load.</source>
        <translation>An Lack und Scharnieren fällt unter Last Spannung ab.</translation>
    </message>
    <message>
        <source>Interface fed from the same splitter as the module; its lamp lights.</source>
        <translation>Interface aus demselben Verteiler gespeist wie das Modul; seine Lampe leuchtet.</translation>
    </message>
    <message>
        <source>Two sources without a common ground do not talk.</source>
        <translation>Zwei Quellen ohne gemeinsame Masse sprechen nicht miteinander.</translation>
    </message>
    <message>
        <source>Is the module fixed rigidly in its mounted attitude, and will nobody move or strike it?</source>
        <translation>Ist das Modul starr in seiner Einbaulage befestigt, und wird es niemand bewegen oder anstoßen?</translation>
    </message>
    <message>
        <source>Moved or struck while powered, it may take that for an event; a fall of 2.5 mm is 0.8 km/h.</source>
        <translation>Unter Strom bewegt oder angestoßen, kann es das für ein Ereignis halten; ein Fall von 2,5 mm sind 0,8 km/h.</translation>
    </message>
    <message>
        <source>Are people clear of every restraint that is connected, and eyes protected?</source>
        <translation>Sind Leute weg von jedem angeschlossenen Rückhaltesystem, und sind die Augen geschützt?</translation>
    </message>
    <message>
        <source>Are the module and its connector dry, inside too as far as can be seen, and unbroken?</source>
        <translation>Sind Modul und Stecker trocken, auch innen, soweit zu sehen, und unbeschädigt?</translation>
    </message>
    <message>
        <source>Is nothing but feed, ground and bus connected, or every restraint circuit sound?</source>
        <translation>Sind nur Speisung, Masse und Bus angeschlossen, oder ist jeder Kreis der Rückhaltesysteme in Ordnung?</translation>
    </message>
    <message>
        <source>Fix the module rigidly in its mounted attitude before power; do not move or strike it while powered. Wet or damaged: no power.</source>
        <translation>Das Modul starr in seiner Einbaulage befestigen, bevor Strom kommt; unter Strom nicht bewegen oder anstoßen. Nass oder beschädigt: kein Strom.</translation>
    </message>
    <message>
        <source>Supply set to its volts and limit, then its output off.</source>
        <translation>Netzgerät auf Spannung und Grenze eingestellt, dann sein Ausgang aus.</translation>
    </message>
    <message>
        <source>A limit below what the module draws at its start makes it start again and again.</source>
        <translation>Eine Grenze unter dem, was das Modul beim Start zieht, lässt es immer wieder starten.</translation>
    </message>
    <message>
        <source>Module fixed rigidly, in its mounted attitude, arrow forward.</source>
        <translation>Modul starr befestigt, in seiner Einbaulage, Pfeil nach vorn.</translation>
    </message>
    <message>
        <source>Moved or struck while powered, it may take that for an event.</source>
        <translation>Unter Strom bewegt oder angestoßen, kann es das für ein Ereignis halten.</translation>
    </message>
    <message>
        <source>Every feed and ground by the service information, the case bolt too if it is a ground.</source>
        <translation>Jede Speisung und Masse nach den Serviceunterlagen, auch die Gehäuseschraube, wenn sie Masse ist.</translation>
    </message>
    <message>
        <source>A module with one of two feeds runs half, and is silent.</source>
        <translation>Ein Modul mit einer von zwei Speisungen läuft halb und ist stumm.</translation>
    </message>
    <message>
        <source>Minus of the supply, the module&apos;s ground and the connector&apos;s ground on one post.</source>
        <translation>Minus des Netzgeräts, Masse des Moduls und Masse der Buchse auf einen Punkt.</translation>
    </message>
    <message>
        <source>Thin or loose leads take volts under load.</source>
        <translation>An dünnen oder losen Leitungen fällt unter Last Spannung ab.</translation>
    </message>
    <message>
        <source>Two terminations of 120 ohm across the two wires of the bus.</source>
        <translation>Zwei Abschlusswiderstände von 120 Ohm zwischen den beiden Leitungen des Busses.</translation>
    </message>
    <message>
        <source>Taken out of the vehicle, the module lacks one or both.</source>
        <translation>Aus dem Fahrzeug ausgebaut, fehlt dem Modul einer oder beide.</translation>
    </message>
    <message>
        <source>step levels is sound</source>
        <translation>Schritt Pegel ist in Ordnung</translation>
    </message>
    <message>
        <source>Interface on the bus and fed from the same supply; its lamp lights.</source>
        <translation>Interface am Bus und aus demselben Netzgerät gespeist; seine Lampe leuchtet.</translation>
    </message>
    <message>
        <source>charge or change the source; do not stack a booster on it without watching the charge current</source>
        <translation>Quelle laden oder wechseln; kein Starthilfegerät dazuschalten, ohne den Ladestrom zu beobachten</translation>
    </message>
    <message>
        <source>a booster in parallel drives most of its current into the weak battery (shared ngspice case 11)</source>
        <translation>ein parallel geschaltetes Starthilfegerät treibt den größten Teil seines Stroms in die schwache Batterie (gemeinsamer ngspice-Fall 11)</translation>
    </message>
    <message>
        <source>switch on, clean and tighten terminals</source>
        <translation>einschalten, Klemmen säubern und festziehen</translation>
    </message>
    <message>
        <source>use a source made for continuous light load</source>
        <translation>eine Quelle nehmen, die für kleine Dauerlast gebaut ist</translation>
    </message>
    <message>
        <source>behaviour of packs is memory only (battery.csv)</source>
        <translation>das Verhalten von Akkupacks ist nur aus dem Gedächtnis (battery.csv)</translation>
    </message>
    <message>
        <source>raise the limit to fuse rating, power off first</source>
        <translation>Grenze auf den Nennwert der Sicherung anheben, vorher Strom aus</translation>
    </message>
    <message>
        <source>never above the rig fuse rating</source>
        <translation>nie über den Nennwert der Sicherung in der Speiseleitung</translation>
    </message>
    <message>
        <source>source with more reserve, or a large battery in parallel</source>
        <translation>Quelle mit mehr Reserve, oder eine große Batterie parallel</translation>
    </message>
    <message>
        <source>each cycle is a power-up: cut the feed at once</source>
        <translation>jeder Durchlauf ist eine Einschaltung: Speisung sofort trennen</translation>
    </message>
    <message>
        <source>use a 12 V source</source>
        <translation>eine 12-V-Quelle nehmen</translation>
    </message>
    <message>
        <source>do not connect a module above 16 V</source>
        <translation>über 16 V kein Modul anschließen</translation>
    </message>
    <message>
        <source>swap the leads</source>
        <translation>Leitungen tauschen</translation>
    </message>
    <message>
        <source>power off; check interface and fuse for damage before the next power-up</source>
        <translation>Strom aus; Interface und Sicherung vor der nächsten Einschaltung auf Schaden prüfen</translation>
    </message>
    <message>
        <source>put a battery in parallel or change the source</source>
        <translation>eine Batterie parallel schalten oder die Quelle wechseln</translation>
    </message>
    <message>
        <source>find why it opened, then renew with the same rating (about 7.5 A, common practice, no source)</source>
        <translation>herausfinden, warum sie ausgelöst hat, dann durch eine mit gleichem Nennwert ersetzen (etwa 7,5 A, übliche Praxis, ohne Quelle)</translation>
    </message>
    <message>
        <source>do not bridge it</source>
        <translation>nicht überbrücken</translation>
    </message>
    <message>
        <source>fit the right rating</source>
        <translation>eine mit richtigem Nennwert einsetzen</translation>
    </message>
    <message>
        <source>do not go above the wire</source>
        <translation>nicht über das hinaus, was die Leitung verträgt</translation>
    </message>
    <message>
        <source>repair lead, re-clip</source>
        <translation>Leitung instand setzen, neu anklemmen</translation>
    </message>
    <message>
        <source>shorter, thicker lead</source>
        <translation>kürzere, dickere Leitung</translation>
    </message>
    <message>
        <source>move clip to the load side, power off</source>
        <translation>Klemme auf die Lastseite setzen, Strom aus</translation>
    </message>
    <message>
        <source>does no damage (common practice, no source); can drain the source and open the rig fuse</source>
        <translation>richtet keinen Schaden an (übliche Praxis, ohne Quelle); kann die Quelle leeren und die Sicherung in der Speiseleitung auslösen</translation>
    </message>
    <message>
        <source>check the diagram and fuse index, power off</source>
        <translation>Schaltplan und Sicherungsbelegung prüfen, Strom aus</translation>
    </message>
    <message>
        <source>may switch on something that moves</source>
        <translation>kann etwas einschalten, das sich bewegt</translation>
    </message>
    <message>
        <source>renew with same rating after finding the cause</source>
        <translation>Ursache finden, dann durch eine mit gleichem Nennwert ersetzen</translation>
    </message>
    <message>
        <source>repair of wire or pin by people qualified for restraint systems, after the wait that the service information names</source>
        <translation>Leitung oder Kontakt instand setzen lassen, von Leuten, die für Rückhaltesysteme qualifiziert sind, nach der Wartezeit aus den Serviceunterlagen</translation>
    </message>
    <message>
        <source>nothing is measured at the module: leave its plug alone</source>
        <translation>am Modul wird nichts gemessen: seinen Stecker in Ruhe lassen</translation>
    </message>
    <message>
        <source>repair of the joint by people qualified for restraint systems, after the wait that the service information names</source>
        <translation>Verbindung instand setzen lassen, von Leuten, die für Rückhaltesysteme qualifiziert sind, nach der Wartezeit aus den Serviceunterlagen</translation>
    </message>
    <message>
        <source>feed the second supply too, power off first</source>
        <translation>auch die zweite Speisung geben, vorher Strom aus</translation>
    </message>
    <message>
        <source>give the wake level or key on</source>
        <translation>Weckpegel geben oder Zündung ein</translation>
    </message>
    <message>
        <source>key on counts as a power-up</source>
        <translation>Zündung ein zählt als Einschaltung</translation>
    </message>
    <message>
        <source>key on</source>
        <translation>Zündung ein</translation>
    </message>
    <message>
        <source>counts as a power-up</source>
        <translation>zählt als Einschaltung</translation>
    </message>
    <message>
        <source>renew; look for a shorted accessory first</source>
        <translation>ersetzen; zuerst nach Zubehör mit Schluss suchen</translation>
    </message>
    <message>
        <source>renew; look into the outlet for a coin or metal</source>
        <translation>ersetzen; in der Steckdose nach Münze oder Metall sehen</translation>
    </message>
    <message>
        <source>10 A red, 15 A blue, 20 A yellow</source>
        <translation>10 A rot, 15 A blau, 20 A gelb</translation>
    </message>
    <message>
        <source>feed the connector fuse from the same source</source>
        <translation>die Sicherung der Buchse aus derselben Quelle speisen</translation>
    </message>
    <message>
        <source>one source for both</source>
        <translation>eine Quelle für beide</translation>
    </message>
    <message>
        <source>repair terminal</source>
        <translation>Kontakt instand setzen</translation>
    </message>
    <message>
        <source>move the clamp to bare metal</source>
        <translation>Klemme auf blankes Metall setzen</translation>
    </message>
    <message>
        <source>reconnect</source>
        <translation>wieder anklemmen</translation>
    </message>
    <message>
        <source>clean the ground</source>
        <translation>Masse säubern</translation>
    </message>
    <message>
        <source>ground repaired by people qualified for restraint systems, after the wait that the service information names</source>
        <translation>Masse instand setzen lassen, von Leuten, die für Rückhaltesysteme qualifiziert sind, nach der Wartezeit aus den Serviceunterlagen</translation>
    </message>
    <message>
        <source>join the grounds, better: one source for both</source>
        <translation>Massen verbinden, besser: eine Quelle für beide</translation>
    </message>
    <message>
        <source>check the voltage between the grounds before joining</source>
        <translation>vor dem Verbinden die Spannung zwischen den Massen prüfen</translation>
    </message>
    <message>
        <source>own ground lead, clean ground</source>
        <translation>eigene Masseleitung, Masse säubern</translation>
    </message>
    <message>
        <source>find the chafed wire</source>
        <translation>die durchgescheuerte Leitung finden</translation>
    </message>
    <message>
        <source>separate the wires</source>
        <translation>Leitungen trennen</translation>
    </message>
    <message>
        <source>repair of the wire by people qualified for restraint systems, after the wait that the service information names</source>
        <translation>Leitung instand setzen lassen, von Leuten, die für Rückhaltesysteme qualifiziert sind, nach der Wartezeit aus den Serviceunterlagen</translation>
    </message>
    <message>
        <source>swap back</source>
        <translation>zurücktauschen</translation>
    </message>
    <message>
        <source>fit 120 ohm at each end</source>
        <translation>120 Ohm an jedes Ende setzen</translation>
    </message>
    <message>
        <source>bench modules often hold none</source>
        <translation>Module auf dem Tisch enthalten oft keinen</translation>
    </message>
    <message>
        <source>fit the second</source>
        <translation>den zweiten einsetzen</translation>
    </message>
    <message>
        <source>often harmless: confirm that it is the cause</source>
        <translation>oft harmlos: bestätigen, dass es die Ursache ist</translation>
    </message>
    <message>
        <source>remove one</source>
        <translation>einen entfernen</translation>
    </message>
    <message>
        <source>interfaces with a built-in terminator</source>
        <translation>Interfaces mit eingebautem Abschlusswiderstand</translation>
    </message>
    <message>
        <source>dry, repair</source>
        <translation>trocknen, instand setzen</translation>
    </message>
    <message>
        <source>unplug nodes one by one (not restraint ones)</source>
        <translation>Teilnehmer einzeln abstecken (nicht die der Rückhaltesysteme)</translation>
    </message>
    <message>
        <source>set the rate found by listening</source>
        <translation>die Bitrate einstellen, die das Zuhören ergab</translation>
    </message>
    <message>
        <source>scan listen-only, never by sending</source>
        <translation>nur durch Zuhören suchen, nie durch Senden</translation>
    </message>
    <message>
        <source>change the pair</source>
        <translation>das Paar wechseln</translation>
    </message>
    <message>
        <source>only with the pin table of the job</source>
        <translation>nur nach der Pinliste des Auftrags</translation>
    </message>
    <message>
        <source>use K-line</source>
        <translation>K-Leitung nehmen</translation>
    </message>
    <message>
        <source>K-line start counts as a request</source>
        <translation>der Verbindungsaufbau auf der K-Leitung zählt als Anfrage</translation>
    </message>
    <message>
        <source>change the identifier size</source>
        <translation>Länge der Kennungen wechseln</translation>
    </message>
    <message>
        <source>use the address found</source>
        <translation>die gefundene Adresse nehmen</translation>
    </message>
    <message>
        <source>read-only requests only</source>
        <translation>nur lesende Anfragen</translation>
    </message>
    <message>
        <source>feed the gateway too</source>
        <translation>auch das Gateway speisen</translation>
    </message>
    <message>
        <source>go to the bus behind the gateway</source>
        <translation>auf den Bus hinter dem Gateway gehen</translation>
    </message>
    <message>
        <source>switch to normal mode</source>
        <translation>auf Normalbetrieb stellen</translation>
    </message>
    <message>
        <source>unplug the other tester</source>
        <translation>das andere Diagnosegerät abstecken</translation>
    </message>
    <message>
        <source>look behind the panel for a permanently fitted device</source>
        <translation>hinter der Verkleidung nach einem fest eingebauten Gerät sehen</translation>
    </message>
    <message>
        <source>wake it, keep the session alive</source>
        <translation>wecken, die Sitzung wach halten</translation>
    </message>
    <message>
        <source>longer wait</source>
        <translation>länger warten</translation>
    </message>
    <message>
        <source>low supply slows some modules: measure V first</source>
        <translation>geringe Spannung macht manche Module langsam: zuerst V messen</translation>
    </message>
    <message>
        <source>use the session allowed; nothing to repair</source>
        <translation>die erlaubte Sitzung nehmen; nichts instand zu setzen</translation>
    </message>
    <message>
        <source>no security access, no session 04</source>
        <translation>kein Sicherheitszugang, keine Sitzung 04</translation>
    </message>
    <message>
        <source>power cycle once; look for the bus fault</source>
        <translation>einmal aus- und einschalten; nach dem Busfehler suchen</translation>
    </message>
    <message>
        <source>a power cycle is a power-up</source>
        <translation>Aus- und Einschalten ist eine Einschaltung</translation>
    </message>
    <message>
        <source>lab work, direct memory reading by a specialist</source>
        <translation>Laborarbeit, direktes Auslesen des Speichers durch Fachleute</translation>
    </message>
    <message>
        <source>do not keep powering it</source>
        <translation>nicht weiter unter Strom setzen</translation>
    </message>
    <message>
        <source>lab work</source>
        <translation>Laborarbeit</translation>
    </message>
    <message>
        <source>do not renew the fuse again</source>
        <translation>die Sicherung nicht noch einmal ersetzen</translation>
    </message>
    <message>
        <source>cut the feed: each cycle is a power-up</source>
        <translation>Speisung trennen: jeder Durchlauf ist eine Einschaltung</translation>
    </message>
    <message>
        <source>wait and ask again</source>
        <translation>warten und noch einmal fragen</translation>
    </message>
    <message>
        <source>no new power-up needed</source>
        <translation>keine neue Einschaltung nötig</translation>
    </message>
    <message>
        <source>other interface</source>
        <translation>anderes Interface</translation>
    </message>
    <message>
        <source>reseat, clean</source>
        <translation>neu einstecken, säubern</translation>
    </message>
    <message>
        <source>choose the port</source>
        <translation>den Anschluss wählen</translation>
    </message>
    <message>
        <source>not by us: the vehicle maker&apos;s repair; feed the slot from outside instead (arrangement fed-in-place)</source>
        <translation>nicht durch uns: Instandsetzung ist Sache des Fahrzeugherstellers; stattdessen den Sicherungsplatz von außen speisen (Anordnung „im Fahrzeug fremdgespeist“)</translation>
    </message>
    <message>
        <source>pyrotechnic part; do not bridge it</source>
        <translation>pyrotechnisches Teil; nicht überbrücken</translation>
    </message>
    <message>
        <source>renew after finding why; look for other damage of a reversed booster</source>
        <translation>Ursache finden, dann ersetzen; nach weiterem Schaden durch verpolte Starthilfe suchen</translation>
    </message>
    <message>
        <source>high current: no tools on the terminals</source>
        <translation>hoher Strom: kein Werkzeug an die Pole</translation>
    </message>
    <message>
        <source>key on, or feed the connector from the battery</source>
        <translation>Zündung ein, oder die Buchse aus der Batterie speisen</translation>
    </message>
    <message>
        <source>take it out, with agreement, and log it</source>
        <translation>nach Absprache entfernen und protokollieren</translation>
    </message>
    <message>
        <source>it may be evidence</source>
        <translation>es kann Beweismittel sein</translation>
    </message>
    <message>
        <source>terminal repaired; never push probes into it</source>
        <translation>Kontakt instand setzen; nie Prüfspitzen hineinstecken</translation>
    </message>
    <message>
        <source>find where the wires end; plugs in</source>
        <translation>finden, wo die Leitungen enden; Stecker einstecken</translation>
    </message>
    <message>
        <source>replug; switch the power saving off</source>
        <translation>neu einstecken; Energiesparen ausschalten</translation>
    </message>
    <message>
        <source>power off for the service information&apos;s own time, then on</source>
        <translation>Strom aus, so lange die Serviceunterlagen sagen, dann ein</translation>
    </message>
    <message>
        <source>each restart is a power-up</source>
        <translation>jeder Neustart ist eine Einschaltung</translation>
    </message>
    <message>
        <source>ask at once after power-up</source>
        <translation>gleich nach dem Einschalten fragen</translation>
    </message>
    <message>
        <source>switch FD on, listening first</source>
        <translation>FD einschalten, zuerst zuhören</translation>
    </message>
    <message>
        <source>stay listen-only until the format is proven</source>
        <translation>nur zuhören, bis das Format erwiesen ist</translation>
    </message>
    <message>
        <source>load side of the emptied fuse slot (on the table: the feed&apos;s end) to bare chassis, 200 kohm range, one minute for capacitors; the slot, not the module</source>
        <translation>Lastseite des leeren Sicherungsplatzes (auf dem Tisch: Ende der Speiseleitung) gegen blanke Karosserie, Bereich 200 kOhm, eine Minute für Kondensatoren; am Platz, nicht am Modul</translation>
    </message>
    <message>
        <source>200 kohm</source>
        <translation>200 kOhm</translation>
    </message>
    <message>
        <source>digital multimeter</source>
        <translation>Digitalmultimeter</translation>
    </message>
    <message>
        <source>across the in-line fuse, lowest range, fuse pulled</source>
        <translation>über der Sicherung in der Speiseleitung, kleinster Bereich, Sicherung gezogen</translation>
    </message>
    <message>
        <source>lowest ohm range, less what the leads read</source>
        <translation>kleinster Ohm-Bereich, abzüglich der Messleitungen</translation>
    </message>
    <message>
        <source>from fuse holder to the clip that grips the slot, lowest range</source>
        <translation>vom Sicherungshalter zur Klemme am Sicherungsplatz, kleinster Bereich</translation>
    </message>
    <message>
        <source>across the diagnostic connector fuse, pulled</source>
        <translation>über der Sicherung der Diagnosebuchse, gezogen</translation>
    </message>
    <message>
        <source>across the module fuse, pulled</source>
        <translation>über der Sicherung des Moduls, gezogen</translation>
    </message>
    <message>
        <source>load side of the connector fuse to pin 16</source>
        <translation>Lastseite der Sicherung der Buchse gegen Pin 16</translation>
    </message>
    <message>
        <source>pin 4 to bare chassis (bench: ground post), lowest range</source>
        <translation>Pin 4 gegen blanke Karosserie (auf dem Tisch: Massepunkt), kleinster Bereich</translation>
    </message>
    <message>
        <source>pin 5 to bare chassis, lowest range</source>
        <translation>Pin 5 gegen blanke Karosserie, kleinster Bereich</translation>
    </message>
    <message>
        <source>source minus to bare chassis away from the clamp, source off</source>
        <translation>Minus der Quelle gegen blanke Karosserie abseits der Klemme, Quelle aus</translation>
    </message>
    <message>
        <source>pin 6 to pin 14, 200 ohm range, then 20 kohm</source>
        <translation>Pin 6 gegen Pin 14, Bereich 200 Ohm, dann 20 kOhm</translation>
    </message>
    <message>
        <source>bus must be unpowered</source>
        <translation>der Bus muss stromlos sein</translation>
    </message>
    <message>
        <source>200 ohm, then 20 kohm</source>
        <translation>200 Ohm, dann 20 kOhm</translation>
    </message>
    <message>
        <source>pin 6 to pin 4, 20 kohm range</source>
        <translation>Pin 6 gegen Pin 4, Bereich 20 kOhm</translation>
    </message>
    <message>
        <source>20 kohm</source>
        <translation>20 kOhm</translation>
    </message>
    <message>
        <source>pin 14 to pin 4, 20 kohm range</source>
        <translation>Pin 14 gegen Pin 4, Bereich 20 kOhm</translation>
    </message>
    <message>
        <source>pin 6 to pin 16, 20 kohm range</source>
        <translation>Pin 6 gegen Pin 16, Bereich 20 kOhm</translation>
    </message>
    <message>
        <source>pin 14 to pin 16, 20 kohm range</source>
        <translation>Pin 14 gegen Pin 16, Bereich 20 kOhm</translation>
    </message>
    <message>
        <source>is the slot and the side of the slot the one in the diagram: right / other slot / other side</source>
        <translation>sind Sicherungsplatz und Seite die aus dem Schaltplan: richtig / anderer Platz / andere Seite</translation>
    </message>
    <message>
        <source>eyes, diagram</source>
        <translation>Augen, Schaltplan</translation>
    </message>
    <message>
        <source>right</source>
        <translation>richtig</translation>
    </message>
    <message>
        <source>other slot</source>
        <translation>anderer Platz</translation>
    </message>
    <message>
        <source>other side</source>
        <translation>andere Seite</translation>
    </message>
    <message>
        <source>number printed on the rig fuse: right / too small</source>
        <translation>Aufdruck der Sicherung in der Speiseleitung: richtig / zu klein</translation>
    </message>
    <message>
        <source>eyes</source>
        <translation>Augen</translation>
    </message>
    <message>
        <source>too small</source>
        <translation>zu klein</translation>
    </message>
    <message>
        <source>what is the source: battery or lab supply / pack with automatic cut-off / charger</source>
        <translation>was ist die Quelle: Batterie oder Labornetzgerät / Akkupack mit Abschaltautomatik / Lader</translation>
    </message>
    <message>
        <source>battery or lab supply</source>
        <translation>Batterie oder Labornetzgerät</translation>
    </message>
    <message>
        <source>pack with automatic cut-off</source>
        <translation>Akkupack mit Abschaltautomatik</translation>
    </message>
    <message>
        <source>charger</source>
        <translation>Lader</translation>
    </message>
    <message>
        <source>source terminals, feed not connected, DC with sign</source>
        <translation>Klemmen der Quelle, Speisung nicht verbunden, Gleichspannung mit Vorzeichen</translation>
    </message>
    <message>
        <source>20 V DC</source>
        <translation>20 V DC</translation>
    </message>
    <message>
        <source>source terminals with a 55 W lamp across them</source>
        <translation>Klemmen der Quelle mit einer 55-W-Lampe daran</translation>
    </message>
    <message>
        <source>DMM and a 5 A lamp</source>
        <translation>Multimeter und eine 5-A-Lampe</translation>
    </message>
    <message>
        <source>source terminals, AC range</source>
        <translation>Klemmen der Quelle, Wechselspannung</translation>
    </message>
    <message>
        <source>20 V AC</source>
        <translation>20 V AC</translation>
    </message>
    <message>
        <source>source terminals with the feed on for a minute</source>
        <translation>Klemmen der Quelle, Speisung seit einer Minute an</translation>
    </message>
    <message>
        <source>meter link or DMM</source>
        <translation>Messgerät am Link oder Multimeter</translation>
    </message>
    <message>
        <source>CC or limit lamp of the supply: off / lit / flickers</source>
        <translation>CC- oder Grenzlampe des Netzgeräts: aus / leuchtet / flackert</translation>
    </message>
    <message>
        <source>off</source>
        <translation>aus</translation>
    </message>
    <message>
        <source>lit</source>
        <translation>leuchtet</translation>
    </message>
    <message>
        <source>flickers</source>
        <translation>flackert</translation>
    </message>
    <message>
        <source>clip in the slot to bare chassis</source>
        <translation>Klemme im Sicherungsplatz gegen blanke Karosserie</translation>
    </message>
    <message>
        <source>load side contact of the slot to bare chassis</source>
        <translation>Lastkontakt des Sicherungsplatzes gegen blanke Karosserie</translation>
    </message>
    <message>
        <source>probe must not bridge the slot</source>
        <translation>die Prüfspitze darf den Platz nicht überbrücken</translation>
    </message>
    <message>
        <source>bare chassis to source minus, 2 V range</source>
        <translation>blanke Karosserie gegen Minus der Quelle, Bereich 2 V</translation>
    </message>
    <message>
        <source>2 V DC, then 20 V</source>
        <translation>2 V DC, dann 20 V</translation>
    </message>
    <message>
        <source>source plus to the clip, drop of fuse and lead</source>
        <translation>Plus der Quelle gegen die Klemme, Abfall von Sicherung und Leitung</translation>
    </message>
    <message>
        <source>pin 16 to pin 4 at the connector, interface plugged through a breakout</source>
        <translation>Pin 16 gegen Pin 4 an der Buchse, Interface über eine Breakout-Box eingesteckt</translation>
    </message>
    <message>
        <source>do not bridge pins</source>
        <translation>keine Pins überbrücken</translation>
    </message>
    <message>
        <source>pin 16 to bare chassis</source>
        <translation>Pin 16 gegen blanke Karosserie</translation>
    </message>
    <message>
        <source>test point on the supply side of the connector fuse to chassis</source>
        <translation>Messpunkt auf der Zuleitungsseite der Sicherung der Buchse gegen Karosserie</translation>
    </message>
    <message>
        <source>accessory outlet centre contact to chassis</source>
        <translation>Mittelkontakt der Zubehörsteckdose gegen Karosserie</translation>
    </message>
    <message>
        <source>pin 4 to source minus</source>
        <translation>Pin 4 gegen Minus der Quelle</translation>
    </message>
    <message>
        <source>interface ground (plug shell or pin 5 side) to chassis</source>
        <translation>Masse des Interfaces (Steckergehäuse oder Seite von Pin 5) gegen Karosserie</translation>
    </message>
    <message>
        <source>second feed or ignition fuse to chassis</source>
        <translation>Sicherung der zweiten Speisung oder der Zündung gegen Karosserie</translation>
    </message>
    <message>
        <source>current in the lead to the module slot alone, module running</source>
        <translation>Strom allein in der Leitung zum Sicherungsplatz des Moduls, Modul läuft</translation>
    </message>
    <message>
        <source>in-line meter fused</source>
        <translation>Messgerät in der Leitung abgesichert</translation>
    </message>
    <message>
        <source>10 A</source>
        <translation>10 A</translation>
    </message>
    <message>
        <source>DC clamp or in-line meter</source>
        <translation>Gleichstromzange oder Messgerät in der Leitung</translation>
    </message>
    <message>
        <source>total current from the source: module, interface and all else</source>
        <translation>Gesamtstrom der Quelle: Modul, Interface und alles andere</translation>
    </message>
    <message>
        <source>supply display or in-line meter</source>
        <translation>Anzeige des Netzgeräts oder Messgerät in der Leitung</translation>
    </message>
    <message>
        <source>steady / cycling / drops to nothing</source>
        <translation>stetig / pulsiert / fällt auf nichts</translation>
    </message>
    <message>
        <source>clamp, supply display or logger</source>
        <translation>Stromzange, Anzeige des Netzgeräts oder Logger</translation>
    </message>
    <message>
        <source>steady</source>
        <translation>stetig</translation>
    </message>
    <message>
        <source>cycling</source>
        <translation>pulsiert</translation>
    </message>
    <message>
        <source>drops to nothing</source>
        <translation>fällt auf nichts</translation>
    </message>
    <message>
        <source>pin 6 to pin 4, DC average</source>
        <translation>Pin 6 gegen Pin 4, Gleichspannungsmittel</translation>
    </message>
    <message>
        <source>pin 14 to pin 4, DC average</source>
        <translation>Pin 14 gegen Pin 4, Gleichspannungsmittel</translation>
    </message>
    <message>
        <source>pin 6 to pin 14, DC average</source>
        <translation>Pin 6 gegen Pin 14, Gleichspannungsmittel</translation>
    </message>
    <message>
        <source>pin 7 to pin 4: near supply if a K-line pulls up on the vehicle side</source>
        <translation>Pin 7 gegen Pin 4: nahe der Versorgung, wenn fahrzeugseitig eine K-Leitung hochzieht</translation>
    </message>
    <message>
        <source>gateway fuse to chassis</source>
        <translation>Sicherung des Gateways gegen Karosserie</translation>
    </message>
    <message>
        <source>supply voltage that the adapter reports</source>
        <translation>Versorgungsspannung, die der Adapter meldet</translation>
    </message>
    <message>
        <source>adapter own voltmeter</source>
        <translation>eigener Spannungsmesser des Adapters</translation>
    </message>
    <message>
        <source>interface lamp: off / lit</source>
        <translation>Lampe des Interfaces: aus / leuchtet</translation>
    </message>
    <message>
        <source>dash lights, radio, chime when the feed goes on: none / some</source>
        <translation>Anzeigen, Radio, Gong, wenn die Speisung angeht: keine / einige</translation>
    </message>
    <message>
        <source>eyes and ears</source>
        <translation>Augen und Ohren</translation>
    </message>
    <message>
        <source>none</source>
        <translation>keine</translation>
    </message>
    <message>
        <source>some</source>
        <translation>einige</translation>
    </message>
    <message>
        <source>restraint lamp: off / on steady / bulb check then off</source>
        <translation>Lampe der Rückhaltesysteme: aus / dauernd an / Lampentest, dann aus</translation>
    </message>
    <message>
        <source>on steady</source>
        <translation>dauernd an</translation>
    </message>
    <message>
        <source>bulb check then off</source>
        <translation>Lampentest, dann aus</translation>
    </message>
    <message>
        <source>is the chosen port present with the right adapter: right / wrong</source>
        <translation>ist der gewählte Anschluss da, mit dem richtigen Adapter: richtig / falsch</translation>
    </message>
    <message>
        <source>program</source>
        <translation>Programm</translation>
    </message>
    <message>
        <source>wrong</source>
        <translation>falsch</translation>
    </message>
    <message>
        <source>adapter answers its identification request: yes / no</source>
        <translation>Adapter antwortet auf seine Identifikationsanfrage: ja / nein</translation>
    </message>
    <message>
        <source>no</source>
        <translation>nein</translation>
    </message>
    <message>
        <source>yes</source>
        <translation>ja</translation>
    </message>
    <message>
        <source>normal / listen only / no answer</source>
        <translation>normal / nur zuhören / keine Antwort</translation>
    </message>
    <message>
        <source>normal</source>
        <translation>normal</translation>
    </message>
    <message>
        <source>listen only</source>
        <translation>nur zuhören</translation>
    </message>
    <message>
        <source>no answer</source>
        <translation>keine Antwort</translation>
    </message>
    <message>
        <source>identifiers heard in 5 s: none / others / module / both / tester / no adapter</source>
        <translation>in 5 s gehörte Kennungen: keine / andere / Modul / beide / Diagnosegerät / kein Adapter</translation>
    </message>
    <message>
        <source>others</source>
        <translation>andere</translation>
    </message>
    <message>
        <source>module</source>
        <translation>Modul</translation>
    </message>
    <message>
        <source>both</source>
        <translation>beide</translation>
    </message>
    <message>
        <source>tester</source>
        <translation>Diagnosegerät</translation>
    </message>
    <message>
        <source>no adapter</source>
        <translation>kein Adapter</translation>
    </message>
    <message>
        <source>none / acknowledge / format / bit / dominant / no adapter</source>
        <translation>keine / Bestätigung / Format / Bit / dominant / kein Adapter</translation>
    </message>
    <message>
        <source>sends one request</source>
        <translation>sendet eine Anfrage</translation>
    </message>
    <message>
        <source>acknowledge</source>
        <translation>Bestätigung</translation>
    </message>
    <message>
        <source>format</source>
        <translation>Format</translation>
    </message>
    <message>
        <source>bit</source>
        <translation>Bit</translation>
    </message>
    <message>
        <source>dominant</source>
        <translation>dominant</translation>
    </message>
    <message>
        <source>active / passive / bus-off / no adapter</source>
        <translation>aktiv / passiv / Bus-off / kein Adapter</translation>
    </message>
    <message>
        <source>active</source>
        <translation>aktiv</translation>
    </message>
    <message>
        <source>passive</source>
        <translation>passiv</translation>
    </message>
    <message>
        <source>bus-off</source>
        <translation>Bus-off</translation>
    </message>
    <message>
        <source>frames decode at another rate: no / yes</source>
        <translation>bei anderer Bitrate sind Rahmen lesbar: nein / ja</translation>
    </message>
    <message>
        <source>listen only, never sends</source>
        <translation>hört nur zu, sendet nie</translation>
    </message>
    <message>
        <source>traffic or answer on another pair of pins: no / yes</source>
        <translation>Verkehr oder Antwort an einem anderen Paar von Pins: nein / ja</translation>
    </message>
    <message>
        <source>listen first</source>
        <translation>zuerst zuhören</translation>
    </message>
    <message>
        <source>program and switch box</source>
        <translation>Programm und Umschaltbox</translation>
    </message>
    <message>
        <source>who answers a functional and physical roll call: nobody / others / module</source>
        <translation>wer antwortet auf einen funktionalen und physikalischen Rundruf: niemand / andere / Modul</translation>
    </message>
    <message>
        <source>read-only requests</source>
        <translation>nur lesende Anfragen</translation>
    </message>
    <message>
        <source>nobody</source>
        <translation>niemand</translation>
    </message>
    <message>
        <source>answer with the other identifier size: no / yes</source>
        <translation>Antwort bei der anderen Länge der Kennungen: nein / ja</translation>
    </message>
    <message>
        <source>read-only request</source>
        <translation>nur lesende Anfrage</translation>
    </message>
    <message>
        <source>answer within 10 s: no / yes / refused</source>
        <translation>Antwort innerhalb von 10 s: nein / ja / abgelehnt</translation>
    </message>
    <message>
        <source>refused</source>
        <translation>abgelehnt</translation>
    </message>
    <message>
        <source>ask again 10 s after power-up: no / yes</source>
        <translation>10 s nach dem Einschalten noch einmal fragen: nein / ja</translation>
    </message>
    <message>
        <source>answer after key on or wake level: no / yes / starts: no answer, but its current rises</source>
        <translation>Antwort nach Zündung ein oder Weckpegel: nein / ja / startet: keine Antwort, aber sein Strom steigt</translation>
    </message>
    <message>
        <source>may be a further power-up of the module</source>
        <translation>kann eine weitere Einschaltung des Moduls sein</translation>
    </message>
    <message>
        <source>person: key or wake lead</source>
        <translation>Person: Schlüssel oder Weckleitung</translation>
    </message>
    <message>
        <source>K-line answers: no / yes</source>
        <translation>K-Leitung antwortet: nein / ja</translation>
    </message>
    <message>
        <source>read-only</source>
        <translation>nur lesend</translation>
    </message>
    <message>
        <source>interface joined to the bus on the far side of the gateway, at the gateway&apos;s own plug: no / yes / frames, no answer</source>
        <translation>Interface jenseits des Gateways am Bus, am Stecker des Gateways selbst: nein / ja / Rahmen, keine Antwort</translation>
    </message>
    <message>
        <source>never at the restraint module or its harness</source>
        <translation>nie am Modul der Rückhaltesysteme oder an seinem Kabelbaum</translation>
    </message>
    <message>
        <source>breakout at the gateway</source>
        <translation>Breakout-Box am Gateway</translation>
    </message>
    <message>
        <source>answer with another interface: no / yes / still no adapter / hears more: no answer, but frames or an acknowledge where the first had none</source>
        <translation>Antwort mit einem anderen Interface: nein / ja / weiter kein Adapter / hört mehr: keine Antwort, aber Rahmen oder eine Bestätigung, wo das erste keine hatte</translation>
    </message>
    <message>
        <source>second interface</source>
        <translation>zweites Interface</translation>
    </message>
    <message>
        <source>starts</source>
        <translation>startet</translation>
    </message>
    <message>
        <source>hears more</source>
        <translation>hört mehr</translation>
    </message>
    <message>
        <source>frames, no answer</source>
        <translation>Rahmen, keine Antwort</translation>
    </message>
    <message>
        <source>still no adapter</source>
        <translation>weiter kein Adapter</translation>
    </message>
    <message>
        <source>lamp and answer after unplugging and replugging the interface: no change / works</source>
        <translation>Lampe und Antwort nach Aus- und Einstecken des Interfaces: unverändert / geht</translation>
    </message>
    <message>
        <source>hand</source>
        <translation>Hand</translation>
    </message>
    <message>
        <source>no change</source>
        <translation>unverändert</translation>
    </message>
    <message>
        <source>works</source>
        <translation>geht</translation>
    </message>
    <message>
        <source>cover off: terminals, crash cut-off and main fuse at the battery: fine / cut-off fired / main fuse open</source>
        <translation>Abdeckung ab: Pole, Crash-Abschaltung und Hauptsicherung an der Batterie: in Ordnung / Abschaltung ausgelöst / Hauptsicherung offen</translation>
    </message>
    <message>
        <source>fine</source>
        <translation>in Ordnung</translation>
    </message>
    <message>
        <source>cut-off fired</source>
        <translation>Abschaltung ausgelöst</translation>
    </message>
    <message>
        <source>main fuse open</source>
        <translation>Hauptsicherung offen</translation>
    </message>
    <message>
        <source>is a splitter or a plug-in device in the connector or behind its panel: nothing / something</source>
        <translation>ist ein Verteiler oder Steckgerät in der Buchse oder hinter ihrer Verkleidung: nichts / etwas</translation>
    </message>
    <message>
        <source>nothing</source>
        <translation>nichts</translation>
    </message>
    <message>
        <source>something</source>
        <translation>etwas</translation>
    </message>
    <message>
        <source>frames decode once CAN FD is switched on, listening only: no / yes</source>
        <translation>Rahmen sind lesbar, sobald CAN FD eingeschaltet ist, nur zuhörend: nein / ja</translation>
    </message>
    <message>
        <source>power off for as long as the service information says, on again, ask at once and once more after a minute: no / only at once / yes</source>
        <translation>Strom aus, so lange die Serviceunterlagen sagen, wieder ein, sofort fragen und nach einer Minute noch einmal: nein / nur sofort / ja</translation>
    </message>
    <message>
        <source>one further power-up</source>
        <translation>eine weitere Einschaltung</translation>
    </message>
    <message>
        <source>only at once</source>
        <translation>nur sofort</translation>
    </message>
    <message>
        <source>10 s after power-up ask each address in question in both identifier sizes and wait 10 s each time: no / yes / refused</source>
        <translation>10 s nach dem Einschalten jede infrage kommende Adresse in beiden Längen der Kennungen fragen und jedes Mal 10 s warten: nein / ja / abgelehnt</translation>
    </message>
    <message>
        <source>on a bus where nothing is heard, ask at the other usual bit rate, naming it (250 or 500 kbit/s): no / yes</source>
        <translation>an einem Bus, an dem nichts zu hören ist, mit der anderen üblichen Bitrate fragen und sie nennen (250 oder 500 kbit/s): nein / ja</translation>
    </message>
    <message>
        <source>read-only request; at a wrong rate it disturbs a bus that is alive</source>
        <translation>nur lesende Anfrage; mit falscher Bitrate stört sie einen Bus, der lebt</translation>
    </message>
    <message>
        <source>follow both bus leads from the breakout to the harness plug by the pin table: right / swapped / other pins / loose</source>
        <translation>beide Busleitungen von der Breakout-Box zum Stecker des Kabelbaums nach der Pinliste verfolgen: richtig / vertauscht / andere Pins / lose</translation>
    </message>
    <message>
        <source>eyes, pin table</source>
        <translation>Augen, Pinliste</translation>
    </message>
    <message>
        <source>swapped</source>
        <translation>vertauscht</translation>
    </message>
    <message>
        <source>other pins</source>
        <translation>andere Pins</translation>
    </message>
    <message>
        <source>loose</source>
        <translation>lose</translation>
    </message>
    <message>
        <source>supply side contact of the slot to bare chassis, feed on: source volts there mean that the feed reaches that side</source>
        <translation>Zuleitungskontakt des Sicherungsplatzes gegen blanke Karosserie, Speisung an: Spannung der Quelle dort heißt, dass die Speisung diese Seite erreicht</translation>
    </message>
    <message>
        <source>interface unplugged and fed alone from a source that is known to be good: does it answer its identification request: no / yes</source>
        <translation>Interface abgesteckt und allein aus einer nachweislich guten Quelle gespeist: antwortet es auf seine Identifikationsanfrage: nein / ja</translation>
    </message>
    <message>
        <source>nothing else on that source</source>
        <translation>nichts anderes an dieser Quelle</translation>
    </message>
    <message>
        <source>pin 16 to pin 4 at the connector, AC range</source>
        <translation>Pin 16 gegen Pin 4 an der Buchse, Wechselspannung</translation>
    </message>
    <message>
        <source>power off, give the second feed too (fused, from the same source), on again: no / yes / starts: no answer, but its current rises</source>
        <translation>Strom aus, auch die zweite Speisung geben (abgesichert, aus derselben Quelle), wieder ein: nein / ja / startet: keine Antwort, aber sein Strom steigt</translation>
    </message>
    <message>
        <source>person: second feed</source>
        <translation>Person: zweite Speisung</translation>
    </message>
    <message>
        <source>interface&apos;s own supply, at its plug</source>
        <translation>eigene Versorgung des Interfaces, an seinem Stecker</translation>
    </message>
    <message>
        <source>Power off, bus asleep, our interface and all other equipment unplugged. Meter on 200 ohm between pin 6 and pin 14 of a breakout, less what the leads read when touched together.</source>
        <translation>Strom aus, Bus schläft, unser Interface und alle anderen Geräte abgesteckt. Messgerät auf 200 Ohm zwischen Pin 6 und Pin 14 einer Breakout-Box, abzüglich dessen, was die zusammengehaltenen Messleitungen zeigen.</translation>
    </message>
    <message>
        <source>Power off, bus asleep. Meter on 20 kohm between pin 6 and pin 4 of a breakout; OL counts as open.</source>
        <translation>Strom aus, Bus schläft. Messgerät auf 20 kOhm zwischen Pin 6 und Pin 4 einer Breakout-Box; OL gilt als offen.</translation>
    </message>
    <message>
        <source>Power off, bus asleep. Meter on 20 kohm between pin 14 and pin 4 of a breakout; OL counts as open.</source>
        <translation>Strom aus, Bus schläft. Messgerät auf 20 kOhm zwischen Pin 14 und Pin 4 einer Breakout-Box; OL gilt als offen.</translation>
    </message>
    <message>
        <source>Power off, bus asleep. Meter on 20 kohm between pin 6 and pin 16 of a breakout; OL counts as open.</source>
        <translation>Strom aus, Bus schläft. Messgerät auf 20 kOhm zwischen Pin 6 und Pin 16 einer Breakout-Box; OL gilt als offen.</translation>
    </message>
    <message>
        <source>Power off, bus asleep. Meter on 20 kohm between pin 14 and pin 16 of a breakout; OL counts as open.</source>
        <translation>Strom aus, Bus schläft. Messgerät auf 20 kOhm zwischen Pin 14 und Pin 16 einer Breakout-Box; OL gilt als offen.</translation>
    </message>
    <message>
        <source>Meter on DC volts, red on the source&apos;s plus, black on its minus, mind the sign. Once at rest, once with a load (a 55 W lamp, or the module on), noted with it.</source>
        <translation>Messgerät auf Gleichspannung, Rot an Plus der Quelle, Schwarz an ihr Minus, Vorzeichen beachten. Einmal in Ruhe, einmal mit Last (55-W-Lampe, oder Modul an), mit ihr notiert.</translation>
    </message>
    <message>
        <source>Module fuse out, key off. One blade of the emptied slot against bare chassis; the blade with battery voltage is the supply side. Both dead: an ignition-fed slot cannot be told with the key off.</source>
        <translation>Sicherung des Moduls heraus, Zündung aus. Ein Kontakt des leeren Platzes gegen blanke Karosserie; der Kontakt mit Batteriespannung ist die Zuleitungsseite. Beide tot: Ein von der Zündung gespeister Platz ist bei Zündung aus nicht zu bestimmen.</translation>
    </message>
    <message>
        <source>The other blade of the slot against bare chassis. Slot empty: about 0 V, not a few volts that fade. Feed or fuse in place and power on: the voltage that goes to the module. Do not bridge the blades.</source>
        <translation>Der andere Kontakt des Platzes gegen blanke Karosserie. Platz leer: etwa 0 V, nicht einige Volt, die vergehen. Speisung oder Sicherung eingesetzt und Strom an: die Spannung, die zum Modul geht. Die Kontakte nicht überbrücken.</translation>
    </message>
    <message>
        <source>Dummy load of about 10 ohm, 25 W from the feed&apos;s end at the slot to the module&apos;s ground area, the module not joined. Volts at the dummy without and with it; R = difference / amperes. The dummy gets hot.</source>
        <translation>Ersatzlast von etwa 10 Ohm, 25 W vom Ende der Speiseleitung am Platz zum Massebereich des Moduls, das Modul nicht verbunden. Volt an der Ersatzlast ohne und mit ihr; R = Differenz / Ampere. Die Ersatzlast wird heiß.</translation>
    </message>
    <message>
        <source>With current flowing (the 10 ohm dummy, or the module on): meter on 2 V, bare chassis away from the clamp (on the table: the ground post) against the source&apos;s minus.</source>
        <translation>Bei fließendem Strom (10-Ohm-Ersatzlast, oder Modul an): Messgerät auf 2 V, blanke Karosserie abseits der Klemme (auf dem Tisch: Massepunkt) gegen Minus der Quelle.</translation>
    </message>
    <message>
        <source>Meter on DC volts at a breakout, pin 16 against pin 4, first as it is, then with a load of 0.5 to 1 A. Never push probes into the contacts, never bridge pins.</source>
        <translation>Messgerät auf Gleichspannung an einer Breakout-Box, Pin 16 gegen Pin 4, erst wie es ist, dann mit einer Last von 0,5 bis 1 A. Nie Prüfspitzen in die Kontakte stecken, nie Pins überbrücken.</translation>
    </message>
    <message>
        <source>As before, but pin 16 against pin 5.</source>
        <translation>Wie zuvor, aber Pin 16 gegen Pin 5.</translation>
    </message>
    <message>
        <source>Meter on 2 V at the breakout, pin 4 against pin 5, the interface plugged in.</source>
        <translation>Messgerät auf 2 V an der Breakout-Box, Pin 4 gegen Pin 5, Interface eingesteckt.</translation>
    </message>
    <message>
        <source>Meter on DC volts, pin 4 of the breakout against the minus of the interface&apos;s own supply lead, bus plugged in. A second source (computer, charger) counts too.</source>
        <translation>Messgerät auf Gleichspannung, Pin 4 der Breakout-Box gegen Minus der eigenen Speiseleitung des Interfaces, Bus eingesteckt. Eine zweite Quelle (Rechner, Lader) zählt auch.</translation>
    </message>
    <message>
        <source>Look at the interface: is its supply lamp lit or dark?</source>
        <translation>Das Interface ansehen: leuchtet seine Versorgungslampe, oder ist sie dunkel?</translation>
    </message>
    <message>
        <source>Meter on DC volts at the interface&apos;s own supply lead, plus against minus, plugged in.</source>
        <translation>Messgerät auf Gleichspannung an der eigenen Speiseleitung des Interfaces, Plus gegen Minus, eingesteckt.</translation>
    </message>
    <message>
        <source>Power on. The clip of the feed lead (on the table: where the lead joins the harness) against bare chassis (ground post).</source>
        <translation>Strom an. Die Klemme der Speiseleitung (auf dem Tisch: wo die Leitung auf den Kabelbaum trifft) gegen blanke Karosserie (Massepunkt).</translation>
    </message>
    <message>
        <source>Look and listen as the power comes on: lights, chime, radio, blower anywhere else in the vehicle? Write seen or none.</source>
        <translation>Hinsehen und hinhören, wenn der Strom kommt: Lichter, Gong, Radio, Gebläse irgendwo sonst im Fahrzeug? „Gesehen“ oder „keine“ angeben.</translation>
    </message>
    <message>
        <source>Power on, after 10 s. DC clamp around the lead to the slot alone, or the 10 A jack in the lead; the mA jack starves the module.</source>
        <translation>Strom an, nach 10 s. Gleichstromzange um die Leitung allein zum Sicherungsplatz, oder die 10-A-Buchse in die Leitung; die mA-Buchse hungert das Modul aus.</translation>
    </message>
    <message>
        <source>Power on. Meter on DC volts at the breakout, pin 6 against pin 4.</source>
        <translation>Strom an. Messgerät auf Gleichspannung an der Breakout-Box, Pin 6 gegen Pin 4.</translation>
    </message>
    <message>
        <source>Power on. Meter on DC volts at the breakout, pin 14 against pin 4.</source>
        <translation>Strom an. Messgerät auf Gleichspannung an der Breakout-Box, Pin 14 gegen Pin 4.</translation>
    </message>
    <message>
        <source>hardly</source>
        <translation>kaum</translation>
    </message>
    <message>
        <source>1 in 50</source>
        <translation>1 von 50</translation>
    </message>
    <message>
        <source>1 in 20</source>
        <translation>1 von 20</translation>
    </message>
    <message>
        <source>1 in 10</source>
        <translation>1 von 10</translation>
    </message>
    <message>
        <source>2 in 10</source>
        <translation>2 von 10</translation>
    </message>
    <message>
        <source>3 in 10</source>
        <translation>3 von 10</translation>
    </message>
    <message>
        <source>4 in 10</source>
        <translation>4 von 10</translation>
    </message>
    <message>
        <source>5 in 10</source>
        <translation>5 von 10</translation>
    </message>
    <message>
        <source>6 in 10</source>
        <translation>6 von 10</translation>
    </message>
    <message>
        <source>7 in 10</source>
        <translation>7 von 10</translation>
    </message>
    <message>
        <source>8 in 10</source>
        <translation>8 von 10</translation>
    </message>
    <message>
        <source>9 in 10</source>
        <translation>9 von 10</translation>
    </message>
    <message>
        <source>19 in 20</source>
        <translation>19 von 20</translation>
    </message>
    <message>
        <source>nearly certain</source>
        <translation>fast sicher</translation>
    </message>
    <message>
        <source>Look at the battery&apos;s clamps, its isolator and any crash cut-off beside it; clean and tighten, then measure at the posts again. Eye protection on.</source>
        <translation>Batterieklemmen, Trennschalter und eine etwaige Crash-Abschaltung daneben ansehen; säubern und festziehen, dann noch einmal an den Polen messen. Augenschutz tragen.</translation>
    </message>
    <message>
        <source>Is the source switched on, its output enabled, its clamps tight? A jump pack may have cut out: press its button and measure again.</source>
        <translation>Ist die Quelle eingeschaltet, ihr Ausgang freigegeben, sitzen die Klemmen fest? Ein Starthilfespeicher kann abgeschaltet haben: seinen Knopf drücken und noch einmal messen.</translation>
    </message>
    <message>
        <source>Is the supply switched on, its output enabled, the leads tight? Measure at its terminals again.</source>
        <translation>Ist das Netzgerät eingeschaltet, sein Ausgang freigegeben, sitzen die Leitungen fest? Noch einmal an seinen Klemmen messen.</translation>
    </message>
    <message>
        <source>Stop: connect nothing to it. Are the meter leads swapped? If not, swap the source&apos;s leads with the power off, and check interface and fuses before you go on.</source>
        <translation>Halt: nichts daran anschließen. Sind die Messleitungen vertauscht? Wenn nicht, bei Strom aus die Leitungen der Quelle tauschen und Interface und Sicherungen prüfen, bevor es weitergeht.</translation>
    </message>
    <message>
        <source>Stop: take the power off and connect nothing. Is something charging or boosting the battery, or are two batteries in series? Remove it and measure again.</source>
        <translation>Halt: Strom wegnehmen und nichts anschließen. Lädt oder stützt etwas die Batterie, oder liegen zwei Batterien in Reihe? Entfernen und noch einmal messen.</translation>
    </message>
    <message>
        <source>Stop: take the power off and connect nothing. Leave boost, override and 24 V outputs alone; set or change the source, then measure again.</source>
        <translation>Halt: Strom wegnehmen und nichts anschließen. Verstärkungs-, Override- und 24-V-Ausgänge in Ruhe lassen; Quelle einstellen oder wechseln, dann noch einmal messen.</translation>
    </message>
    <message>
        <source>Stop: take the power off. Set the supply to 12.5 to 13.5 V (24 V module: its own figure), over-voltage trip at the limit, sense leads fitted or off, then measure again.</source>
        <translation>Halt: Strom wegnehmen. Netzgerät auf 12,5 bis 13,5 V stellen (24-V-Modul: dessen eigener Wert), Überspannungsabschaltung auf die Grenze, Fühlerleitungen angeschlossen oder aus, dann noch einmal messen.</translation>
    </message>
    <message>
        <source>Everything else on the battery off, then measure again. Still low: charge it, or change to a source from outside. Not into a cracked, frozen or leaking battery; no booster in parallel with a flat one.</source>
        <translation>Alles andere an der Batterie aus, dann noch einmal messen. Immer noch niedrig: laden, oder auf eine Quelle von außen wechseln. Nicht in eine gerissene, gefrorene oder auslaufende Batterie; kein Starthilfegerät parallel zu einer leeren.</translation>
    </message>
    <message>
        <source>Change or charge the source; a flat vehicle battery in parallel drains it, so leave that one disconnected.</source>
        <translation>Quelle wechseln oder laden; eine leere Fahrzeugbatterie parallel zieht sie leer: diese abgeklemmt lassen.</translation>
    </message>
    <message>
        <source>Raise the supply&apos;s voltage or current limit, power off first, or change the source. A limit below the start current makes the module start again and again.</source>
        <translation>Spannung oder Strombegrenzung des Netzgeräts anheben, vorher Strom aus, oder die Quelle wechseln. Eine Grenze unter dem Anlaufstrom lässt das Modul immer wieder starten.</translation>
    </message>
    <message>
        <source>Measure the source once more with a load on it (a 55 W lamp, or the module once it is on): at rest a weak battery looks good.</source>
        <translation>Die Quelle noch einmal mit Last messen (55-W-Lampe, oder das Modul, sobald es an ist): in Ruhe sieht eine schwache Batterie gut aus.</translation>
    </message>
    <message>
        <source>Find the timer or cut-off that did it: accessory outlets and battery savers go off by themselves. Take the supply from the battery&apos;s own posts instead.</source>
        <translation>Die Zeitschaltung oder Abschaltung finden, die es war: Zubehörsteckdosen und Batteriewächter schalten von selbst ab. Die Versorgung stattdessen an den Polen der Batterie nehmen.</translation>
    </message>
    <message>
        <source>A jump pack takes one module for no load and cuts out. Use a battery or a bench supply; or hang the 10 ohm dummy load (it gets hot) beside the module before power, and see that the pack stays on.</source>
        <translation>Ein Starthilfespeicher hält ein Modul für keine Last und schaltet ab. Batterie oder Labornetzgerät nehmen; oder vor dem Einschalten die 10-Ohm-Ersatzlast (sie wird heiß) neben das Modul hängen und sehen, dass der Speicher anbleibt.</translation>
    </message>
    <message>
        <source>Do not begin the attempt on it. Everything else on the battery off; charge it, or change to a source from outside that stands still under load for two minutes.</source>
        <translation>Den Versuch nicht damit beginnen. Alles andere an der Batterie aus; laden, oder auf eine Quelle von außen wechseln, die unter Last zwei Minuten stillsteht.</translation>
    </message>
    <message>
        <source>Do not begin the attempt on it: change to a charged source first, power off while you change, and watch it under load for two minutes.</source>
        <translation>Den Versuch nicht damit beginnen: zuerst auf eine geladene Quelle wechseln, beim Wechsel Strom aus, und sie zwei Minuten unter Last beobachten.</translation>
    </message>
    <message>
        <source>Do not begin the attempt on it: change to a charged source or a mains supply first, power off while you change, and watch it under load for two minutes.</source>
        <translation>Den Versuch nicht damit beginnen: zuerst auf eine geladene Quelle oder ein Netzgerät am Stromnetz wechseln, beim Wechsel Strom aus, und sie zwei Minuten unter Last beobachten.</translation>
    </message>
    <message>
        <source>Power off, then look at the module&apos;s fuse: pulled, blown, wrong slot? Find why it opened before you renew it with the same rating.</source>
        <translation>Strom aus, dann die Sicherung des Moduls ansehen: gezogen, durchgebrannt, falscher Platz? Herausfinden, warum sie ausgelöst hat, bevor sie durch eine mit gleichem Nennwert ersetzt wird.</translation>
    </message>
    <message>
        <source>Power off, then from the source on: switch, in-line fuse, clip on the right slot and on its load blade. Do not bridge the fuse.</source>
        <translation>Strom aus, dann von der Quelle an: Schalter, Sicherung in der Leitung, Klemme am richtigen Platz und an dessen Lastkontakt. Die Sicherung nicht überbrücken.</translation>
    </message>
    <message>
        <source>Power off, then from the supply on: switch, in-line fuse, plug and pin of the feed lead. Do not bridge the fuse.</source>
        <translation>Strom aus, dann vom Netzgerät an: Schalter, Sicherung in der Leitung, Stecker und Kontakt der Speiseleitung. Die Sicherung nicht überbrücken.</translation>
    </message>
    <message>
        <source>Compare source and feed under load; where they part is the bad joint. Clean fuse and blades with the power off.</source>
        <translation>Quelle und Speisung unter Last vergleichen; wo sie auseinandergehen, ist die schlechte Verbindung. Sicherung und Kontakte bei Strom aus säubern.</translation>
    </message>
    <message>
        <source>Power off. Shorter, thicker feed lead, fresh clip; then prove the path with the 10 ohm dummy load before the module is powered again.</source>
        <translation>Strom aus. Kürzere, dickere Speiseleitung, frische Klemme; dann den Weg mit der 10-Ohm-Ersatzlast prüfen, bevor das Modul wieder Strom bekommt.</translation>
    </message>
    <message>
        <source>Power off. Shorter, thicker feed lead; then prove the path with the 10 ohm dummy load before the module is powered again.</source>
        <translation>Strom aus. Kürzere, dickere Speiseleitung; dann den Weg mit der 10-Ohm-Ersatzlast prüfen, bevor das Modul wieder Strom bekommt.</translation>
    </message>
    <message>
        <source>Stop: take the power off. Nothing goes back on before the source measures right with nothing connected.</source>
        <translation>Halt: Strom wegnehmen. Nichts kommt wieder daran, bevor die Quelle mit nichts daran richtig misst.</translation>
    </message>
    <message>
        <source>Power off, then move the feed to the other blade: the load blade, the one without battery voltage in the emptied slot.</source>
        <translation>Strom aus, dann die Speisung auf den anderen Kontakt setzen: den Lastkontakt, den ohne Batteriespannung im leeren Platz.</translation>
    </message>
    <message>
        <source>Power off, then take the module&apos;s fuse out and feed the load blade alone, the one without battery voltage in the emptied slot.</source>
        <translation>Strom aus, dann die Sicherung des Moduls herausnehmen und allein den Lastkontakt speisen, den ohne Batteriespannung im leeren Platz.</translation>
    </message>
    <message>
        <source>If you feed several modules on purpose, all is well. Else power off and look at the slot: feed on the load blade alone, the module&apos;s fuse out.</source>
        <translation>Werden mehrere Module mit Absicht gespeist, ist alles gut. Sonst Strom aus und den Platz ansehen: Speisung allein auf dem Lastkontakt, Sicherung des Moduls heraus.</translation>
    </message>
    <message>
        <source>It is over, this power-up may be used. Next time plug in with the switch open, then switch on once; each bounce can count as a power-up.</source>
        <translation>Es ist vorbei, diese Einschaltung darf benutzt werden. Nächstes Mal bei offenem Schalter einstecken, dann einmal einschalten; jedes Prellen kann als Einschaltung zählen.</translation>
    </message>
    <message>
        <source>Hands off the leads for the attempt. Before it, power off and fasten clip, plug and in-line fuse so that a pull at the lead moves none of them.</source>
        <translation>Während des Versuchs Hände weg von den Leitungen. Davor Strom aus und Klemme, Stecker und Sicherung in der Leitung so befestigen, dass ein Zug an der Leitung keines davon bewegt.</translation>
    </message>
    <message>
        <source>Power off and look for a bad contact in its feed and ground; with steady volts there it restarts by itself, or the bus went to sleep and was woken. Each restart can count as one more ignition cycle.</source>
        <translation>Strom aus und in Speisung und Masse nach schlechtem Kontakt suchen; ist die Spannung dort stetig, startet es von selbst neu, oder der Bus ist eingeschlafen und geweckt worden. Jeder Neustart kann als ein weiterer Zündzyklus zählen.</translation>
    </message>
    <message>
        <source>Power off, then check the path joint by joint with the dummy load: clip, in-line fuse, lead, ground clamp. No power-up is needed for this.</source>
        <translation>Strom aus, dann den Weg mit der Ersatzlast Verbindung um Verbindung prüfen: Klemme, Sicherung in der Leitung, Leitung, Masseklemme. Dafür ist keine Einschaltung nötig.</translation>
    </message>
    <message>
        <source>Power off. Something else hangs on this feed: is a second consumer on the fuse?</source>
        <translation>Strom aus. Etwas anderes hängt an dieser Speisung: liegt ein zweiter Verbraucher an der Sicherung?</translation>
    </message>
    <message>
        <source>Power off. More than one module is fed: is the feed on the supply blade with the module&apos;s fuse still in, or in another circuit&apos;s slot? Move it to the load blade.</source>
        <translation>Strom aus. Mehr als ein Modul ist gespeist: sitzt die Speisung auf dem Zuleitungskontakt bei eingesetzter Sicherung des Moduls, oder im Platz eines anderen Stromkreises? Auf den Lastkontakt setzen.</translation>
    </message>
    <message>
        <source>Power off. Something else hangs on the lead: feed the module alone.</source>
        <translation>Strom aus. Etwas anderes hängt an der Leitung: das Modul allein speisen.</translation>
    </message>
    <message>
        <source>The module sleeps or is not fed: check its fuse and, if it has one, its second (ignition) feed.</source>
        <translation>Das Modul schläft oder ist nicht gespeist: seine Sicherung prüfen und, wenn es sie hat, seine zweite Speisung (Zündung).</translation>
    </message>
    <message>
        <source>The module sleeps or is not fed: check slot and blade, and the second (ignition) feed if it has one; power off before you change anything.</source>
        <translation>Das Modul schläft oder ist nicht gespeist: Platz und Kontakt prüfen und, wenn es sie hat, die zweite Speisung (Zündung); Strom aus, bevor etwas geändert wird.</translation>
    </message>
    <message>
        <source>The module sleeps or is not fed: check the second (ignition) feed or wake-up lead if it has one; power off before you change anything.</source>
        <translation>Das Modul schläft oder ist nicht gespeist: die zweite Speisung (Zündung) oder Weckleitung prüfen, wenn es sie hat; Strom aus, bevor etwas geändert wird.</translation>
    </message>
    <message>
        <source>Power off; clean and tighten the battery&apos;s ground strap at both ends, then measure again under the same load.</source>
        <translation>Strom aus; Masseband der Batterie an beiden Enden säubern und festziehen, dann bei gleicher Last noch einmal messen.</translation>
    </message>
    <message>
        <source>Power off; move the ground clamp to bright metal bolted through the body near the module&apos;s ground, not paint, seat rail or hinge, then measure again with the dummy load.</source>
        <translation>Strom aus; Masseklemme auf blankes Metall setzen, durch die Karosserie verschraubt, nahe der Masse des Moduls, nicht auf Lack, Sitzschiene oder Scharnier, dann mit der Ersatzlast noch einmal messen.</translation>
    </message>
    <message>
        <source>Power off; clean and tighten the leads at the ground post, then measure again with the dummy load.</source>
        <translation>Strom aus; Leitungen am Massepunkt säubern und festziehen, dann mit der Ersatzlast noch einmal messen.</translation>
    </message>
    <message>
        <source>Computers on their batteries, one of them isolated from the vehicle; then measure the ground&apos;s drop again with everything of ours unplugged and the same current.</source>
        <translation>Rechner auf Akku, einer von ihnen vom Fahrzeug getrennt; dann den Abfall der Masse noch einmal messen, alles von uns abgesteckt, bei gleichem Strom.</translation>
    </message>
    <message>
        <source>Unplug other equipment and computers on mains, then measure pin 4 against pin 5 again; still apart: trace the ground wires of the connector.</source>
        <translation>Andere Geräte und Rechner am Stromnetz abstecken, dann Pin 4 gegen Pin 5 noch einmal messen; immer noch auseinander: den Masseleitungen der Buchse nachgehen.</translation>
    </message>
    <message>
        <source>Power off, then hang interface and module on one source; if there must be two, join their minus by one thick lead first. Computers run on their own battery.</source>
        <translation>Strom aus, dann Interface und Modul an eine Quelle hängen; müssen es zwei sein, zuerst ihr Minus durch eine dicke Leitung verbinden. Rechner laufen auf eigenem Akku.</translation>
    </message>
    <message>
        <source>Check the connector&apos;s fuse (often shared with the accessory outlet: look into that for metal) and renew it with the same rating. Fuse good: look for a pushed-back contact at pin 16.</source>
        <translation>Die Sicherung der Buchse prüfen (oft mit der Zubehörsteckdose geteilt: darin nach Metall sehen) und durch eine mit gleichem Nennwert ersetzen. Sicherung gut: nach zurückgeschobenem Kontakt an Pin 16 sehen.</translation>
    </message>
    <message>
        <source>Hang the interface on the same source as the module instead.</source>
        <translation>Das Interface stattdessen an dieselbe Quelle hängen wie das Modul.</translation>
    </message>
    <message>
        <source>Join pin 16 of the breakout to the source&apos;s plus through a fuse, or give the interface its own lead from the same source.</source>
        <translation>Pin 16 der Breakout-Box über eine Sicherung mit Plus der Quelle verbinden, oder dem Interface eine eigene Leitung aus derselben Quelle geben.</translation>
    </message>
    <message>
        <source>Measure again with 0.5 to 1 A of load and compare with the battery: a loss under load is corrosion at fuse, contact or ground. Clean with the power off.</source>
        <translation>Noch einmal mit 0,5 bis 1 A Last messen und mit der Batterie vergleichen: Verlust unter Last ist Korrosion an Sicherung, Kontakt oder Masse. Bei Strom aus säubern.</translation>
    </message>
    <message>
        <source>Shorter, thicker leads to the breakout, clean contacts; measure again under load.</source>
        <translation>Kürzere, dickere Leitungen zur Breakout-Box, saubere Kontakte; noch einmal unter Last messen.</translation>
    </message>
    <message>
        <source>Stop: do not plug the interface in, and unplug what is in. Find out which system this is and what charges or boosts it.</source>
        <translation>Halt: das Interface nicht einstecken, und abstecken, was steckt. Herausfinden, welches System das ist und was es lädt oder stützt.</translation>
    </message>
    <message>
        <source>Look for a pushed-back contact at pin 4 and trace its ground wire; an interface that returns through pin 4 gets nothing.</source>
        <translation>Nach zurückgeschobenem Kontakt an Pin 4 sehen und seiner Masseleitung nachgehen; ein Interface mit Rückleitung über Pin 4 bekommt nichts.</translation>
    </message>
    <message>
        <source>Look for a pushed-back contact at pin 5; it matters only to an interface that returns through pin 5.</source>
        <translation>Nach zurückgeschobenem Kontakt an Pin 5 sehen; es zählt nur für ein Interface mit Rückleitung über Pin 5.</translation>
    </message>
    <message>
        <source>Load pin 16 with a lamp and measure again; if it falls away it was a stray voltage.</source>
        <translation>Pin 16 mit einer Lampe belasten und noch einmal messen; fällt die Spannung weg, war es eine Streuspannung.</translation>
    </message>
    <message>
        <source>Do not hang the interface on pin 16; give it its own lead from the same source as the module.</source>
        <translation>Das Interface nicht an Pin 16 hängen; ihm eine eigene Leitung aus derselben Quelle geben wie dem Modul.</translation>
    </message>
    <message>
        <source>Reseat its plug, then measure pin 16 against pin 4; with good volts there and the lamp dark, take another interface.</source>
        <translation>Seinen Stecker neu einstecken, dann Pin 16 gegen Pin 4 messen; ist die Spannung dort gut und die Lampe dunkel, ein anderes Interface nehmen.</translation>
    </message>
    <message>
        <source>Give the interface its own lead from the same source as the module, check that lead&apos;s fuse, then look at the lamp again.</source>
        <translation>Dem Interface eine eigene Leitung aus derselben Quelle geben wie dem Modul, deren Sicherung prüfen, dann noch einmal nach der Lampe sehen.</translation>
    </message>
    <message>
        <source>Stop: unplug the interface and take the power off; measure the source with nothing connected.</source>
        <translation>Halt: Interface abstecken und Strom wegnehmen; die Quelle mit nichts daran messen.</translation>
    </message>
    <message>
        <source>Reseat its cable at both ends and look at `pin16 links`; it needs no power-up.</source>
        <translation>Sein Kabel an beiden Enden neu einstecken und `pin16 links` ansehen; das braucht keine Einschaltung.</translation>
    </message>
    <message>
        <source>Power off, unplug our interface and all other equipment one by one while the meter stays on; it stays low: a wire is chafed or a plug is wet.</source>
        <translation>Strom aus, unser Interface und alle anderen Geräte einzeln abstecken, das Messgerät bleibt dran; bleibt es niedrig: eine Leitung ist durchgescheuert oder ein Stecker nass.</translation>
    </message>
    <message>
        <source>Power off, unplug interface and harness one by one while the meter stays on: wet plug, bent pin, swapped leads?</source>
        <translation>Strom aus, Interface und Kabelbaum einzeln abstecken, das Messgerät bleibt dran: nasser Stecker, verbogener Pin, vertauschte Leitungen?</translation>
    </message>
    <message>
        <source>One end of the bus is not reached: look for an unplugged module or a broken wire. The bus may still work on short leads.</source>
        <translation>Ein Ende des Busses wird nicht erreicht: nach abgestecktem Modul oder gebrochener Leitung suchen. Mit kurzen Leitungen kann der Bus trotzdem gehen.</translation>
    </message>
    <message>
        <source>Put one 120 ohm resistor across the two bus wires.</source>
        <translation>Einen Widerstand von 120 Ohm zwischen die beiden Busleitungen setzen.</translation>
    </message>
    <message>
        <source>Unplug our interface and all other equipment one by one, power off, and measure each time: the one that brings back 60 ohm has a termination to switch off.</source>
        <translation>Unser Interface und alle anderen Geräte einzeln abstecken, Strom aus, und jedes Mal messen: was die 60 Ohm zurückbringt, hat einen Abschluss, der abzuschalten ist.</translation>
    </message>
    <message>
        <source>Take one of the 120 ohm resistors off, or switch off the interface&apos;s own termination.</source>
        <translation>Einen der Widerstände von 120 Ohm abnehmen, oder den eigenen Abschluss des Interfaces abschalten.</translation>
    </message>
    <message>
        <source>Switch the termination in our adapter off; the bus has its own two.</source>
        <translation>Den Abschluss in unserem Adapter abschalten; der Bus hat seine eigenen zwei.</translation>
    </message>
    <message>
        <source>Null the meter leads, clean the contacts, measure again with the power off and the bus asleep.</source>
        <translation>Messleitungen nullen, Kontakte säubern, bei Strom aus und schlafendem Bus noch einmal messen.</translation>
    </message>
    <message>
        <source>Are the breakout&apos;s pins 6 and 14 through? If so this bus is not on pins 6 and 14, or both wires are broken.</source>
        <translation>Sind Pin 6 und 14 der Breakout-Box durchverbunden? Wenn ja, liegt dieser Bus nicht an Pin 6 und 14, oder beide Leitungen sind gebrochen.</translation>
    </message>
    <message>
        <source>Put two 120 ohm resistors (60 ohm in all) across the two bus wires, and check the leads to the module&apos;s harness plug.</source>
        <translation>Zwei Widerstände von 120 Ohm (zusammen 60 Ohm) zwischen die beiden Busleitungen setzen und die Leitungen zum Kabelbaumstecker des Moduls prüfen.</translation>
    </message>
    <message>
        <source>Power off, then follow the wires from the connector: chafed at a bracket, crushed by the crash, wet plug? 60 ohm between the wires does not rule this out.</source>
        <translation>Strom aus, dann den Leitungen von der Buchse an folgen: an einem Halter durchgescheuert, beim Unfall gequetscht, nasser Stecker? 60 Ohm zwischen den Leitungen schließen das nicht aus.</translation>
    </message>
    <message>
        <source>Power off, then check the bus leads for a swapped or touching pin.</source>
        <translation>Strom aus, dann die Busleitungen auf vertauschte oder sich berührende Pins prüfen.</translation>
    </message>
    <message>
        <source>Measure both wires again with the interface unplugged; if it comes right the interface disturbs, else look for a bad ground or an open wire.</source>
        <translation>Beide Leitungen bei abgestecktem Interface noch einmal messen; stimmt es dann, stört das Interface, sonst nach schlechter Masse oder offener Leitung suchen.</translation>
    </message>
    <message>
        <source>Wake it: ignition on (this counts as a power-up for the modules behind it), then measure again.</source>
        <translation>Wecken: Zündung ein (das zählt für die Module dahinter als Einschaltung), dann noch einmal messen.</translation>
    </message>
    <message>
        <source>Is the module really fed, on all its feeds? If so it waits for ignition status or a wake-up: power off before you add a feed.</source>
        <translation>Ist das Modul wirklich gespeist, an allen Speisungen? Wenn ja, wartet es auf Zündungsstatus oder Wecken: Strom aus, bevor eine Speisung dazukommt.</translation>
    </message>
    <message>
        <source>Is the module really fed, on all its feeds? If so it waits for an ignition feed or a wake-up lead: power off before you add one.</source>
        <translation>Ist das Modul wirklich gespeist, an allen Speisungen? Wenn ja, wartet es auf Zündungsspeisung oder Weckleitung: Strom aus, bevor eine dazukommt.</translation>
    </message>
    <message>
        <source>Ignition on? Interface on the right pair of pins and at the right rate? Listen again; nothing is sent for this.</source>
        <translation>Zündung ein? Interface am richtigen Paar von Pins und mit richtiger Bitrate? Noch einmal zuhören; gesendet wird dafür nichts.</translation>
    </message>
    <message>
        <source>Is the module powered on all its feeds? Many need an ignition feed before they speak. Right pins, right rate?</source>
        <translation>Hat das Modul Strom an allen Speisungen? Viele brauchen eine Zündungsspeisung, bevor sie sprechen. Richtige Pins, richtige Bitrate?</translation>
    </message>
    <message>
        <source>Many modules on the table speak only when asked, or need an ignition feed: check feeds, pins, bit rate, 60 ohm.</source>
        <translation>Viele Module sprechen auf dem Tisch nur, wenn sie gefragt werden, oder brauchen eine Zündungsspeisung: Speisungen, Pins, Bitrate, 60 Ohm prüfen.</translation>
    </message>
    <message>
        <source>Take the interface off at once if it is not listen-only. Then try the other usual bit rates by listening, and check for classic against FD, swapped wires, 60 ohm.</source>
        <translation>Das Interface sofort abnehmen, wenn es nicht nur zuhört. Dann die anderen üblichen Bitraten durch Zuhören probieren, und klassisch gegen FD, vertauschte Leitungen, 60 Ohm prüfen.</translation>
    </message>
    <message>
        <source>Unplug our interface and all other equipment one by one; then move plugs and leads gently while the error count is watched. Check 60 ohm with the power off.</source>
        <translation>Unser Interface und alle anderen Geräte einzeln abstecken; dann Stecker und Leitungen sacht bewegen und die Zahl der Fehler beobachten. 60 Ohm bei Strom aus prüfen.</translation>
    </message>
    <message>
        <source>No powered node hears this interface: right pins, right rate, gateway powered, ignition on?</source>
        <translation>Kein Teilnehmer unter Strom hört dieses Interface: richtige Pins, richtige Bitrate, Gateway gespeist, Zündung ein?</translation>
    </message>
    <message>
        <source>No powered node hears this interface: is the module fed, are the bus wires through to it?</source>
        <translation>Kein Teilnehmer unter Strom hört dieses Interface: ist das Modul gespeist, sind die Busleitungen bis zu ihm durchgängig?</translation>
    </message>
    <message>
        <source>No powered node hears this interface: is the module fed, are the bus leads on the right pins?</source>
        <translation>Kein Teilnehmer unter Strom hört dieses Interface: ist das Modul gespeist, liegen die Busleitungen an den richtigen Pins?</translation>
    </message>
    <message>
        <source>Only one node is awake on these wires. Ignition on? Are the other modules and the gateway fed, their fuses in?</source>
        <translation>Nur ein Teilnehmer ist an diesen Leitungen wach. Zündung ein? Sind die anderen Module und das Gateway gespeist, ihre Sicherungen eingesetzt?</translation>
    </message>
    <message>
        <source>Only one node is awake on these wires. If that is the module, good: the other equipment&apos;s interface has to acknowledge it. Is that one plugged in and not set to listen-only?</source>
        <translation>Nur ein Teilnehmer ist an diesen Leitungen wach. Ist es das Modul, gut: das Interface des anderen Geräts muss es bestätigen. Ist das eingesteckt und nicht auf Nur-Zuhören gestellt?</translation>
    </message>
    <message>
        <source>The module is alive and alone, because our interface only listens. That is no fault: the other equipment&apos;s interface has to acknowledge it; plug that in, and it must not be set to listen-only.</source>
        <translation>Das Modul lebt und ist allein, weil unser Interface nur zuhört. Das ist kein Fehler: das Interface des anderen Geräts muss es bestätigen; das einstecken, und es darf nicht auf Nur-Zuhören gestellt sein.</translation>
    </message>
    <message>
        <source>Look at the gateway&apos;s feed first: its fuse, and the ignition status it waits for. Then the connector&apos;s bus wires. The module behind it may be well.</source>
        <translation>Zuerst die Speisung des Gateways ansehen: seine Sicherung und den Zündungsstatus, auf den es wartet. Dann die Busleitungen der Buchse. Das Modul dahinter kann gesund sein.</translation>
    </message>
    <message>
        <source>The gateway needs its own feed too: find its fuse slot, power off, and feed its load blade from the same source as the module. Or take another way to the module&apos;s bus.</source>
        <translation>Auch das Gateway braucht seine eigene Speisung: seinen Sicherungsplatz finden, Strom aus, und seinen Lastkontakt aus derselben Quelle speisen wie das Modul. Oder einen anderen Weg zum Bus des Moduls nehmen.</translation>
    </message>
    <message>
        <source>Our sending met only errors: wrong rate, short or swapped wires. Unplug, measure 60 ohm with the power off, prove the rate by listening only.</source>
        <translation>Unser Senden traf nur auf Fehler: falsche Bitrate, Schluss oder vertauschte Leitungen. Abstecken, 60 Ohm bei Strom aus messen, die Bitrate nur durch Zuhören nachweisen.</translation>
    </message>
    <message>
        <source>Wait ten seconds and ask again (no new power-up). Then free checks: right identifiers, ignition status, gateway powered, the module&apos;s fuse.</source>
        <translation>Zehn Sekunden warten und noch einmal fragen (keine neue Einschaltung). Dann prüfen, was nichts kostet: richtige Kennungen, Zündungsstatus, Gateway gespeist, Sicherung des Moduls.</translation>
    </message>
    <message>
        <source>Wait ten seconds and ask again (no new power-up). Then: is every feed of the module there (ignition feed too), and is the gateway fed?</source>
        <translation>Zehn Sekunden warten und noch einmal fragen (keine neue Einschaltung). Dann: ist jede Speisung des Moduls da (auch die der Zündung), und ist das Gateway gespeist?</translation>
    </message>
    <message>
        <source>Wait ten seconds and ask again (no new power-up). Then: all feeds and grounds, 60 ohm, right identifiers and rate.</source>
        <translation>Zehn Sekunden warten und noch einmal fragen (keine neue Einschaltung). Dann: alle Speisungen und Massen, 60 Ohm, richtige Kennungen und Bitrate.</translation>
    </message>
    <message>
        <source>Ignition status and the gateway&apos;s own feeds first: many pass nothing on until they see ignition. Then the module&apos;s fuse, then its identifiers.</source>
        <translation>Zuerst Zündungsstatus und die eigenen Speisungen des Gateways: viele reichen nichts weiter, bis sie Zündung sehen. Dann die Sicherung des Moduls, dann seine Kennungen.</translation>
    </message>
    <message>
        <source>Feed the gateway&apos;s second (ignition) supply as well, power off before you add it; many pass nothing on until they see ignition. Then the module&apos;s feed and its identifiers.</source>
        <translation>Auch die zweite Versorgung (Zündung) des Gateways speisen, Strom aus, bevor sie dazukommt; viele reichen nichts weiter, bis sie Zündung sehen. Dann die Speisung des Moduls und seine Kennungen.</translation>
    </message>
    <message>
        <source>The wiring is good: the module lives and says no. It is a matter of condition, session or lock, for the other equipment to settle.</source>
        <translation>Die Verkabelung ist gut: das Modul lebt und sagt nein. Es ist eine Frage von Bedingung, Sitzung oder Sperre, vom anderen Gerät zu klären.</translation>
    </message>
    <message>
        <source>Watch the supply at the module while you ask again; a dip means a weak feed or contact. If the volts stand, the module is busy: wait.</source>
        <translation>Die Versorgung am Modul beobachten, während noch einmal gefragt wird; ein Einbruch heißt schwache Speisung oder schlechter Kontakt. Steht die Spannung, ist das Modul beschäftigt: warten.</translation>
    </message>
    <message>
        <source>Ask several times with hands off, then with the plugs moved gently; watch volts and error frames meanwhile.</source>
        <translation>Mehrmals fragen, zuerst Hände weg, dann mit sacht bewegten Steckern; dabei Volt und Fehlerrahmen beobachten.</translation>
    </message>
    <message>
        <source>Measure the supply at the feed first: low volts slow some modules. Else give the other equipment a longer wait.</source>
        <translation>Zuerst die Versorgung an der Speisung messen: geringe Spannung macht manche Module langsam. Sonst dem anderen Gerät eine längere Wartezeit geben.</translation>
    </message>
    <message>
        <source>Measure the supply at the feed first: low volts slow some modules. Then give the other equipment a wait longer than the time shown; else it will call this module silent.</source>
        <translation>Zuerst die Versorgung an der Speisung messen: geringe Spannung macht manche Module langsam. Dann dem anderen Gerät eine Wartezeit geben, die länger ist als die gezeigte Zeit; sonst nennt es dieses Modul stumm.</translation>
    </message>
    <message>
        <source>lamp load</source>
        <translation>Lampenlast</translation>
    </message>
    <message>
        <source>10 ohm dummy</source>
        <translation>10-Ohm-Ersatzlast</translation>
    </message>
    <message>
        <source>dark</source>
        <translation>dunkel</translation>
    </message>
    <message>
        <source>seen</source>
        <translation>gesehen</translation>
    </message>
    <message>
        <source>Power is off.</source>
        <translation>Der Strom ist aus.</translation>
    </message>
    <message>
        <source>Power is on.</source>
        <translation>Der Strom ist an.</translation>
    </message>
    <message>
        <source>Power has come since.</source>
        <translation>Inzwischen ist Strom gekommen.</translation>
    </message>
    <message>
        <source>Module powered, interface up: listen for a few seconds; nothing is sent.</source>
        <translation>Modul unter Strom, Interface bereit: einige Sekunden zuhören; gesendet wird nichts.</translation>
    </message>
    <message>
        <source>Find the module&apos;s address: `pin16 rollcall` shows who answers; write it into the job as module.line_address.</source>
        <translation>Die Adresse des Moduls finden: `pin16 rollcall` zeigt, wer antwortet; als module.line_address in den Auftrag schreiben.</translation>
    </message>
    <message>
        <source>Find the module&apos;s identifiers: listen while the other equipment asks, or `pin16 rollcall --sweep`, then write them into the job.</source>
        <translation>Die Kennungen des Moduls finden: zuhören, während das andere Gerät fragt, oder `pin16 rollcall --sweep`, dann in den Auftrag schreiben.</translation>
    </message>
    <message>
        <source>Module powered, and an interface that is not listen-only: run check again with --ask, if the case allows one read-only request.</source>
        <translation>Modul unter Strom, und ein Interface, das nicht nur zuhört: check noch einmal mit --ask ausführen, wenn der Fall eine nur lesende Anfrage erlaubt.</translation>
    </message>
    <message>
        <source>Module powered: run check again with --ask, if the case allows one read-only request.</source>
        <translation>Modul unter Strom: check noch einmal mit --ask ausführen, wenn der Fall eine nur lesende Anfrage erlaubt.</translation>
    </message>
    <message>
        <source>source</source>
        <translation>Quelle</translation>
    </message>
    <message>
        <source>feed</source>
        <translation>Speisung</translation>
    </message>
    <message>
        <source>ground</source>
        <translation>Masse</translation>
    </message>
    <message>
        <source>connector</source>
        <translation>Buchse</translation>
    </message>
    <message>
        <source>interface</source>
        <translation>Interface</translation>
    </message>
    <message>
        <source>levels</source>
        <translation>Pegel</translation>
    </message>
    <message>
        <source>traffic</source>
        <translation>Verkehr</translation>
    </message>
    <message>
        <source>answer</source>
        <translation>Antwort</translation>
    </message>
    <message>
        <source>timing</source>
        <translation>Zeiten</translation>
    </message>
    <message>
        <source>listen</source>
        <translation>Lauschen</translation>
    </message>
    <message>
        <source>ask</source>
        <translation>Fragen</translation>
    </message>
    <message>
        <source>roll call</source>
        <translation>Rundruf</translation>
    </message>
    <message>
        <source>the source gives nothing</source>
        <translation>die Quelle gibt nichts</translation>
    </message>
    <message>
        <source>plus and minus are swapped</source>
        <translation>Plus und Minus sind vertauscht</translation>
    </message>
    <message>
        <source>the source gives more than the module may get</source>
        <translation>die Quelle gibt mehr, als das Modul bekommen darf</translation>
    </message>
    <message>
        <source>the source is flat or weak</source>
        <translation>die Quelle ist leer oder schwach</translation>
    </message>
    <message>
        <source>the source was only measured at rest</source>
        <translation>die Quelle wurde nur in Ruhe gemessen</translation>
    </message>
    <message>
        <source>the source went off by itself under load</source>
        <translation>die Quelle ging unter Last von selbst aus</translation>
    </message>
    <message>
        <source>the source sags and will not last for a read-out attempt</source>
        <translation>die Quelle sinkt und reicht nicht für einen Ausleseversuch</translation>
    </message>
    <message>
        <source>nothing arrives at the module&apos;s feed</source>
        <translation>an der Speisung des Moduls kommt nichts an</translation>
    </message>
    <message>
        <source>too little voltage arrives at the module&apos;s feed</source>
        <translation>an der Speisung des Moduls kommt zu wenig Spannung an</translation>
    </message>
    <message>
        <source>more than the module may get at its feed</source>
        <translation>mehr an der Speisung, als das Modul bekommen darf</translation>
    </message>
    <message>
        <source>the feed sits on the supply blade of the slot, the module gets nothing</source>
        <translation>die Speisung sitzt auf dem Zuleitungskontakt des Platzes, das Modul bekommt nichts</translation>
    </message>
    <message>
        <source>the feed reaches the supply side with the module&apos;s fuse in: the module runs, and all else on that side too</source>
        <translation>die Speisung erreicht bei eingesetzter Sicherung die Zuleitungsseite: mit dem Modul läuft alles dort</translation>
    </message>
    <message>
        <source>others are awake although this module alone should be fed</source>
        <translation>andere sind wach, obwohl nur dieses Modul gespeist sein soll</translation>
    </message>
    <message>
        <source>the feed bounced at switch-on: several starts instead of one</source>
        <translation>die Speisung prellte beim Einschalten: mehrere Starts statt eines</translation>
    </message>
    <message>
        <source>the feed went away and came back while the power was on</source>
        <translation>die Speisung fiel bei eingeschaltetem Strom aus und kam wieder</translation>
    </message>
    <message>
        <source>a module stopped sending and began anew while the power was on</source>
        <translation>ein Modul hörte bei eingeschaltetem Strom auf zu senden und begann neu</translation>
    </message>
    <message>
        <source>the feed path has too much resistance</source>
        <translation>der Speiseweg hat zu viel Widerstand</translation>
    </message>
    <message>
        <source>more current than this module alone draws</source>
        <translation>mehr Strom, als dieses Modul allein zieht</translation>
    </message>
    <message>
        <source>less current than this module draws when it runs</source>
        <translation>weniger Strom, als dieses Modul im Betrieb zieht</translation>
    </message>
    <message>
        <source>too much voltage is lost in the ground</source>
        <translation>an der Masse fällt zu viel Spannung ab</translation>
    </message>
    <message>
        <source>a computer of ours may hide a bad ground</source>
        <translation>einer unserer Rechner kann eine schlechte Masse verdecken</translation>
    </message>
    <message>
        <source>the two grounds of the diagnostic connector differ</source>
        <translation>die beiden Massen der Diagnosebuchse unterscheiden sich</translation>
    </message>
    <message>
        <source>the interface&apos;s source and the module&apos;s have no ground in common</source>
        <translation>die Quellen von Interface und Modul haben keine gemeinsame Masse</translation>
    </message>
    <message>
        <source>the diagnostic connector has no supply</source>
        <translation>die Diagnosebuchse hat keine Versorgung</translation>
    </message>
    <message>
        <source>the diagnostic connector has too little supply</source>
        <translation>die Diagnosebuchse hat zu wenig Versorgung</translation>
    </message>
    <message>
        <source>the diagnostic connector has more than a 12 V (24 V) system may have</source>
        <translation>die Diagnosebuchse hat mehr, als ein 12-V-System (24-V-System) haben darf</translation>
    </message>
    <message>
        <source>pin 4 (chassis ground) of the connector is open</source>
        <translation>Pin 4 (Karosseriemasse) der Buchse ist offen</translation>
    </message>
    <message>
        <source>pin 5 (signal ground) of the connector is open</source>
        <translation>Pin 5 (Signalmasse) der Buchse ist offen</translation>
    </message>
    <message>
        <source>a voltage at pin 16 that is neither dead nor a supply</source>
        <translation>eine Spannung an Pin 16, die weder spannungsfrei noch eine Versorgung ist</translation>
    </message>
    <message>
        <source>the interface has no supply</source>
        <translation>das Interface hat keine Versorgung</translation>
    </message>
    <message>
        <source>the interface gets more than it may</source>
        <translation>das Interface bekommt mehr, als es darf</translation>
    </message>
    <message>
        <source>the interface&apos;s link to the computer does not work</source>
        <translation>der Link des Interfaces zum Rechner geht nicht</translation>
    </message>
    <message>
        <source>the two bus wires touch, or something of few ohms lies between them</source>
        <translation>die beiden Busleitungen berühren sich, oder etwas mit wenigen Ohm liegt dazwischen</translation>
    </message>
    <message>
        <source>one termination is missing or a branch of the bus is open</source>
        <translation>ein Abschlusswiderstand fehlt, oder ein Zweig des Busses ist offen</translation>
    </message>
    <message>
        <source>one termination too many</source>
        <translation>ein Abschlusswiderstand zu viel</translation>
    </message>
    <message>
        <source>our own termination is one too many</source>
        <translation>unser eigener Abschlusswiderstand ist einer zu viel</translation>
    </message>
    <message>
        <source>the bus resistance fits neither one, two nor three terminations</source>
        <translation>der Buswiderstand passt nicht zu einem, zwei oder drei Abschlusswiderständen</translation>
    </message>
    <message>
        <source>no termination is seen at all</source>
        <translation>es ist gar kein Abschlusswiderstand zu sehen</translation>
    </message>
    <message>
        <source>a bus wire is shorted to ground or to supply</source>
        <translation>eine Busleitung hat Schluss nach Masse oder Plus</translation>
    </message>
    <message>
        <source>the bus wires are neither asleep nor at their idle level</source>
        <translation>die Busleitungen schlafen weder noch stehen sie auf Ruhepegel</translation>
    </message>
    <message>
        <source>the bus sleeps: both wires near 0 V with the power on</source>
        <translation>der Bus schläft: beide Leitungen nahe 0 V bei eingeschaltetem Strom</translation>
    </message>
    <message>
        <source>the bus is silent</source>
        <translation>der Bus ist still</translation>
    </message>
    <message>
        <source>there are bits on the bus but no valid frame</source>
        <translation>auf dem Bus sind Bits, aber kein gültiger Rahmen</translation>
    </message>
    <message>
        <source>many error frames among the traffic</source>
        <translation>viele Fehlerrahmen im Verkehr</translation>
    </message>
    <message>
        <source>nobody acknowledged what we sent</source>
        <translation>niemand hat bestätigt, was wir sendeten</translation>
    </message>
    <message>
        <source>nobody acknowledges what one node sends: it is alone</source>
        <translation>niemand bestätigt, was ein Teilnehmer sendet: er ist allein</translation>
    </message>
    <message>
        <source>the gateway does not acknowledge: it is not powered, or not on these pins</source>
        <translation>das Gateway bestätigt nicht: es hat keinen Strom oder hängt nicht an diesen Pins</translation>
    </message>
    <message>
        <source>our interface took itself off the bus</source>
        <translation>unser Interface hat sich vom Bus genommen</translation>
    </message>
    <message>
        <source>the job&apos;s module does not answer</source>
        <translation>das Modul des Auftrags antwortet nicht</translation>
    </message>
    <message>
        <source>the gateway acknowledges, but nothing comes through it</source>
        <translation>das Gateway bestätigt, aber es kommt nichts hindurch</translation>
    </message>
    <message>
        <source>the module answers, but refuses</source>
        <translation>das Modul antwortet, lehnt aber ab</translation>
    </message>
    <message>
        <source>the module&apos;s answer broke off, or it only said &quot;pending&quot;</source>
        <translation>die Antwort des Moduls brach ab, oder es meldete nur „pending“</translation>
    </message>
    <message>
        <source>the module answers only sometimes</source>
        <translation>das Modul antwortet nur manchmal</translation>
    </message>
    <message>
        <source>the module answers later than the standard allows</source>
        <translation>das Modul antwortet später, als die Norm erlaubt</translation>
    </message>
    <message>
        <source>the module answers later than a client waits</source>
        <translation>das Modul antwortet später, als ein Tester wartet</translation>
    </message>
    <message>
        <source>Ready for the read-out attempt</source>
        <translation>Bereit für den Ausleseversuch</translation>
    </message>
    <message>
        <source>Ready as far as listening tells</source>
        <translation>Bereit, soweit Lauschen es zeigt</translation>
    </message>
    <message>
        <source>good until it went off</source>
        <translation>gut, bis sie ausging</translation>
    </message>
    <message>
        <source>from good to dead</source>
        <translation>von gut bis spannungsfrei</translation>
    </message>
    <message>
        <source>watched under load</source>
        <translation>unter Last beobachtet</translation>
    </message>
    <message>
        <source>fall</source>
        <translation>Absinken</translation>
    </message>
    <message>
        <source>minutes</source>
        <translation>Minuten</translation>
    </message>
    <message>
        <source>seconds</source>
        <translation>Sekunden</translation>
    </message>
    <message>
        <source>times the feed came back</source>
        <translation>Wiederkehr der Speisung</translation>
    </message>
    <message>
        <source>starts seen in regular frames</source>
        <translation>Starts, gesehen an regelmäßigen Rahmen</translation>
    </message>
    <message>
        <source>of it our own draw at pin 16</source>
        <translation>davon unser eigener Strom an Pin 16</translation>
    </message>
    <message>
        <source>share of error frames</source>
        <translation>Anteil Fehlerrahmen</translation>
    </message>
    <message>
        <source>repeats of one frame</source>
        <translation>Wiederholungen eines Rahmens</translation>
    </message>
    <message>
        <source>frames that nobody acknowledged</source>
        <translation>Rahmen, die niemand bestätigte</translation>
    </message>
    <message>
        <source>sent and not acknowledged</source>
        <translation>gesendet und nicht bestätigt</translation>
    </message>
    <message>
        <source>listened</source>
        <translation>gelauscht</translation>
    </message>
    <message>
        <source>answered</source>
        <translation>beantwortet</translation>
    </message>
    <message>
        <source>asked</source>
        <translation>gefragt</translation>
    </message>
    <message>
        <source>response after the wait</source>
        <translation>Antwort nach der Wartezeit</translation>
    </message>
    <message>
        <source>shortest response</source>
        <translation>kürzeste Antwortzeit</translation>
    </message>
    <message>
        <source>median response</source>
        <translation>mittlere Antwortzeit (Median)</translation>
    </message>
    <message>
        <source>longest response</source>
        <translation>längste Antwortzeit</translation>
    </message>
    <message>
        <source>open</source>
        <translation>offen</translation>
    </message>
    <message>
        <source>any</source>
        <translation>beliebig</translation>
    </message>
    <message>
        <source>fuse</source>
        <translation>Sicherung</translation>
    </message>
    <message>
        <source>It is back now.</source>
        <translation>Jetzt ist sie wieder da.</translation>
    </message>
    <message>
        <source>Nothing was measured at the source&apos;s terminals.</source>
        <translation>An den Klemmen der Quelle wurde nichts gemessen.</translation>
    </message>
    <message>
        <source>Without a load that tells its charge, not what it can deliver.</source>
        <translation>Ohne Last zeigt das die Ladung, nicht was sie liefern kann.</translation>
    </message>
    <message>
        <source>lights, chime or the like came on elsewhere</source>
        <translation>anderswo gingen Lichter, Gong oder dergleichen an</translation>
    </message>
    <message>
        <source>there is traffic although the module gets nothing</source>
        <translation>es ist Verkehr da, obwohl das Modul nichts bekommt</translation>
    </message>
    <message>
        <source>More than this module is fed</source>
        <translation>Mehr als dieses Modul ist gespeist</translation>
    </message>
    <message>
        <source>only the current tells so far</source>
        <translation>bisher sagt das nur der Strom</translation>
    </message>
    <message>
        <source>One module alone usually draws less (from memory, decides nothing): is the feed on the supply side?</source>
        <translation>Ein Modul allein zieht meist weniger (aus dem Gedächtnis, entscheidet nichts): sitzt die Speisung auf der Zuleitungsseite?</translation>
    </message>
    <message>
        <source>With the module silent that is what a feed on the supply blade with the fuse out looks like: measure the load blade.</source>
        <translation>Bei stummem Modul sieht so eine Speisung auf dem Zuleitungskontakt ohne Sicherung aus: den Lastkontakt messen.</translation>
    </message>
    <message>
        <source>The load blade of the emptied slot is not dead: a second feed or a reserve still holds it up</source>
        <translation>Der Lastkontakt des leeren Platzes ist nicht spannungsfrei: eine zweite Speisung oder eine Reserve hält ihn noch</translation>
    </message>
    <message>
        <source>a second reading some time later tells which.</source>
        <translation>eine zweite Messung einige Zeit später sagt, was von beiden.</translation>
    </message>
    <message>
        <source>The blades of the emptied slot are told apart: one has battery voltage, the load blade none.</source>
        <translation>Die Kontakte des leeren Platzes sind unterschieden: einer hat Batteriespannung, der Lastkontakt keine.</translation>
    </message>
    <message>
        <source>Both blades of the emptied slot are dead with the key off: an ignition-fed slot or no battery, so this does not tell them apart.</source>
        <translation>Beide Kontakte des leeren Platzes sind bei Zündung aus spannungsfrei: ein Platz an geschaltetem Plus oder keine Batterie, das unterscheidet sie also nicht.</translation>
    </message>
    <message>
        <source>Nothing is joined or unjoined before it is dead.</source>
        <translation>Nichts wird verbunden oder getrennt, bevor er spannungsfrei ist.</translation>
    </message>
    <message>
        <source>Nothing was measured at the module&apos;s fuse.</source>
        <translation>An der Sicherung des Moduls wurde nichts gemessen.</translation>
    </message>
    <message>
        <source>Neither the feed&apos;s voltage nor its path was measured.</source>
        <translation>Weder die Spannung der Speisung noch ihr Weg wurde gemessen.</translation>
    </message>
    <message>
        <source>Measure once more with everything of ours unplugged (with=&quot;unplugged, ...&quot;).</source>
        <translation>Noch einmal messen, alles Eigene abgesteckt (with=&quot;unplugged, ...&quot;).</translation>
    </message>
    <message>
        <source>Our computer is tied to the source&apos;s minus and may hide a bad ground</source>
        <translation>Unser Rechner hängt am Minus der Quelle und kann eine schlechte Masse verdecken</translation>
    </message>
    <message>
        <source>the current is not known</source>
        <translation>der Strom ist nicht bekannt</translation>
    </message>
    <message>
        <source>Modules usually have less (from memory, decides nothing).</source>
        <translation>Module haben meist weniger (aus dem Gedächtnis, entscheidet nichts).</translation>
    </message>
    <message>
        <source>V(chassis,src-) was measured without current: that tells nothing.</source>
        <translation>V(chassis,src-) wurde ohne Strom gemessen: das sagt nichts.</translation>
    </message>
    <message>
        <source>frames come through all the same</source>
        <translation>Rahmen kommen trotzdem durch</translation>
    </message>
    <message>
        <source>The ground was not measured with current flowing.</source>
        <translation>Die Masse wurde nicht bei fließendem Strom gemessen.</translation>
    </message>
    <message>
        <source>The interface hangs on the same source.</source>
        <translation>Das Interface hängt an derselben Quelle.</translation>
    </message>
    <message>
        <source>Pin 16 was not measured.</source>
        <translation>Pin 16 wurde nicht gemessen.</translation>
    </message>
    <message>
        <source>Not needed: the connector is not fed from the module&apos;s slot, so about 0 V at pin 16 is expected.</source>
        <translation>Nicht nötig: die Buchse wird nicht aus dem Platz des Moduls gespeist, an Pin 16 sind also etwa 0 V zu erwarten.</translation>
    </message>
    <message>
        <source>There is no vehicle connector</source>
        <translation>Es gibt keine Buchse des Fahrzeugs</translation>
    </message>
    <message>
        <source>the breakout&apos;s supply was not measured</source>
        <translation>die Versorgung der Breakout-Box wurde nicht gemessen</translation>
    </message>
    <message>
        <source>Pin 16 of the breakout has no supply</source>
        <translation>Pin 16 der Breakout-Box hat keine Versorgung</translation>
    </message>
    <message>
        <source>the interface has its own, so nothing hangs on it</source>
        <translation>das Interface hat seine eigene, es hängt also nichts daran</translation>
    </message>
    <message>
        <source>Its lamp is lit.</source>
        <translation>Seine Lampe leuchtet.</translation>
    </message>
    <message>
        <source>Its lamp is dark.</source>
        <translation>Seine Lampe ist dunkel.</translation>
    </message>
    <message>
        <source>Frames come through the interface, so it lives</source>
        <translation>Durch das Interface kommen Rahmen, es lebt also</translation>
    </message>
    <message>
        <source>its supply was not measured</source>
        <translation>seine Versorgung wurde nicht gemessen</translation>
    </message>
    <message>
        <source>Neither its supply nor its lamp was looked at.</source>
        <translation>Weder seine Versorgung noch seine Lampe wurde angesehen.</translation>
    </message>
    <message>
        <source>close to the edge of the accepted band</source>
        <translation>nahe am Rand des zulässigen Bereichs</translation>
    </message>
    <message>
        <source>Both wires were near 0 V when measured</source>
        <translation>Beide Leitungen lagen beim Messen nahe 0 V</translation>
    </message>
    <message>
        <source>frames were seen all the same</source>
        <translation>trotzdem waren Rahmen zu sehen</translation>
    </message>
    <message>
        <source>Both wires are near 0 V: the bus sleeps.</source>
        <translation>Beide Leitungen liegen nahe 0 V: der Bus schläft.</translation>
    </message>
    <message>
        <source>The interface&apos;s ground is not pin 4&apos;s, which lifts both wires.</source>
        <translation>Die Masse des Interfaces ist nicht die von Pin 4, das hebt beide Leitungen.</translation>
    </message>
    <message>
        <source>The bus resistance was not measured: on the table it has to be 60 ohm in all.</source>
        <translation>Der Buswiderstand wurde nicht gemessen: auf dem Tisch müssen es zusammen 60 ohm sein.</translation>
    </message>
    <message>
        <source>Neither the bus resistance nor its levels were measured.</source>
        <translation>Weder der Buswiderstand noch seine Pegel wurden gemessen.</translation>
    </message>
    <message>
        <source>The bus carries traffic all the same, with little margin.</source>
        <translation>Der Bus trägt trotzdem Verkehr, mit wenig Reserve.</translation>
    </message>
    <message>
        <source>, and our interface only listens</source>
        <translation>, und unser Interface hört nur zu</translation>
    </message>
    <message>
        <source>, not even our interface</source>
        <translation>, nicht einmal unser Interface</translation>
    </message>
    <message>
        <source>Nothing here is shorted, or its bits would not come through.</source>
        <translation>Hier ist nichts kurzgeschlossen, sonst kämen seine Bits nicht durch.</translation>
    </message>
    <message>
        <source>What we sent was acknowledged by nobody: not even the gateway is awake.</source>
        <translation>Was wir sendeten, hat niemand bestätigt: nicht einmal das Gateway ist wach.</translation>
    </message>
    <message>
        <source>What we sent was acknowledged by nobody: we are alone on these wires.</source>
        <translation>Was wir sendeten, hat niemand bestätigt: wir sind allein an diesen Leitungen.</translation>
    </message>
    <message>
        <source>not bus-off</source>
        <translation>nicht Bus-Off</translation>
    </message>
    <message>
        <source>error-passive</source>
        <translation>fehlerpassiv</translation>
    </message>
    <message>
        <source>error-active</source>
        <translation>fehleraktiv</translation>
    </message>
    <message>
        <source>error-warning</source>
        <translation>in Fehlerwarnung</translation>
    </message>
    <message>
        <source>Not listened long enough to tell.</source>
        <translation>Nicht lange genug gelauscht, um es zu sagen.</translation>
    </message>
    <message>
        <source>Silent, but nobody said that the module is powered.</source>
        <translation>Still, aber niemand hat gesagt, dass das Modul Strom hat.</translation>
    </message>
    <message>
        <source>No frame: behind a gateway that is normal.</source>
        <translation>Kein Rahmen: hinter einem Gateway ist das normal.</translation>
    </message>
    <message>
        <source>No frame: on the table many modules speak only when asked.</source>
        <translation>Kein Rahmen: auf dem Tisch sprechen viele Module nur, wenn sie gefragt werden.</translation>
    </message>
    <message>
        <source>No interface was up to listen.</source>
        <translation>Kein Interface war zum Lauschen bereit.</translation>
    </message>
    <message>
        <source>Our controller is bus-off: our bits did not come back as sent, so this is a disturbed bus, not a lonely one.</source>
        <translation>Unser Controller ist Bus-Off: unsere Bits kamen nicht zurück wie gesendet, der Bus ist also gestört, nicht einsam.</translation>
    </message>
    <message>
        <source>Our link acknowledges: whether anybody else does is not shown.</source>
        <translation>Unser Link bestätigt: ob sonst jemand es tut, zeigt sich nicht.</translation>
    </message>
    <message>
        <source>the bus</source>
        <translation>den Bus</translation>
    </message>
    <message>
        <source>connector, bus and gateway</source>
        <translation>Buchse, Bus und Gateway</translation>
    </message>
    <message>
        <source>The request to all was not answered: on the table that means nothing.</source>
        <translation>Die Anfrage an alle blieb ohne Antwort: auf dem Tisch heißt das nichts.</translation>
    </message>
    <message>
        <source>The request to all was not answered: a restraint module usually does not, so that is no proof of absence.</source>
        <translation>Die Anfrage an alle blieb ohne Antwort: ein Rückhaltesteuergerät antwortet darauf meist nicht, es beweist also kein Fehlen.</translation>
    </message>
    <message>
        <source>Something acknowledged them, so the gateway&apos;s interface is awake, but nothing comes through it.</source>
        <translation>Etwas hat sie bestätigt, das Gateway ist auf unserer Seite also wach, aber es kommt nichts hindurch.</translation>
    </message>
    <message>
        <source>The job&apos;s module began to answer and did not finish.</source>
        <translation>Das Modul des Auftrags begann zu antworten und wurde nicht fertig.</translation>
    </message>
    <message>
        <source>Seen, not asked by us.</source>
        <translation>Gesehen, nicht von uns gefragt.</translation>
    </message>
    <message>
        <source>Sealed job: nothing is sent.</source>
        <translation>Versiegelter Auftrag: nichts wird gesendet.</translation>
    </message>
    <message>
        <source>The module&apos;s identifiers are not known: listen for its answers while the other equipment asks, or find them with a roll call (`pin16 rollcall --sweep`).</source>
        <translation>Die Kennungen des Moduls sind nicht bekannt: auf seine Antworten lauschen, während das andere Gerät fragt, oder sie mit einem Rundruf finden (`pin16 rollcall --sweep`).</translation>
    </message>
    <message>
        <source>The request to the job&apos;s module did not get onto the bus: nobody was asked, see traffic.</source>
        <translation>Die Anfrage an das Modul des Auftrags kam nicht auf den Bus: niemand wurde gefragt, siehe Verkehr.</translation>
    </message>
    <message>
        <source>The link was lost, or the capture ended, before an answer could come.</source>
        <translation>Der Link ging verloren, oder die Aufzeichnung endete, bevor eine Antwort kommen konnte.</translation>
    </message>
    <message>
        <source>Nothing was asked: run check with --ask when the case allows one read-only request.</source>
        <translation>Nichts wurde gefragt: check mit --ask laufen lassen, wenn der Fall eine nur lesende Anfrage erlaubt.</translation>
    </message>
    <message>
        <source>The interface only listens, so it cannot ask: that needs an interface that takes part in the bus.</source>
        <translation>Das Interface hört nur zu und kann nicht fragen: dazu braucht es eines, das am Bus teilnimmt.</translation>
    </message>
    <message>
        <source>The job&apos;s module was not asked.</source>
        <translation>Das Modul des Auftrags wurde nicht gefragt.</translation>
    </message>
    <message>
        <source>No answer of the job&apos;s module to time.</source>
        <translation>Keine Antwort des Moduls, deren Zeit zu messen wäre.</translation>
    </message>
    <message>
        <source>Times of requests that were not ours are receive times.</source>
        <translation>Zeiten fremder Anfragen sind Empfangszeiten.</translation>
    </message>
    <message>
        <source>nothing speaks against it</source>
        <translation>nichts spricht dagegen</translation>
    </message>
    <message>
        <source>Nothing speaks for it</source>
        <translation>Nichts spricht dafür</translation>
    </message>
    <message>
        <source>No reading speaks for it or against it yet; this is how often it is met.</source>
        <translation>Noch spricht keine Messung dafür oder dagegen; so oft kommt es vor.</translation>
    </message>
    <message>
        <source>Before power: each power-up raises the recorder&apos;s ignition-cycle count (49 CFR 563.5), and an event that is not locked may be overwritten by a later one (49 CFR 563.9).</source>
        <translation>Vor dem Einschalten: jede Einschaltung erhöht den Zündzykluszähler des Rekorders (49 CFR 563.5), und ein nicht gesperrtes Ereignis kann von einem späteren überschrieben werden (49 CFR 563.9).</translation>
    </message>
    <message>
        <source>Module fixed, in its mounted attitude, not moved or struck while powered; people clear.</source>
        <translation>Modul befestigt, in Einbaulage, unter Strom nicht bewegt oder gestoßen; Menschen auf Abstand.</translation>
    </message>
    <message>
        <source>No power-up is in this job&apos;s ledger yet.</source>
        <translation>In diesem Auftrag steht noch keine Einschaltung.</translation>
    </message>
    <message>
        <source>The job sets no budget.</source>
        <translation>Der Auftrag setzt kein Budget.</translation>
    </message>
    <message>
        <source>Take another access, or agree on going on</source>
        <translation>Einen anderen Zugang nehmen oder das Weitermachen vereinbaren</translation>
    </message>
    <message>
        <source>Every feed and ground, the case bolt too if it is a ground.</source>
        <translation>Jede Speisung und Masse, auch die Gehäuseschraube, wenn sie Masse ist.</translation>
    </message>
    <message>
        <source>no-bit</source>
        <translation>kein Bit</translation>
    </message>
    <message>
        <source>errors-only</source>
        <translation>nur Fehler</translation>
    </message>
    <message>
        <source>unacknowledged</source>
        <translation>unbestätigt</translation>
    </message>
    <message>
        <source>silent</source>
        <translation>stumm</translation>
    </message>
    <message>
        <source>negative</source>
        <translation>abgelehnt</translation>
    </message>
    <message>
        <source>pending</source>
        <translation>vertröstet</translation>
    </message>
    <message>
        <source>cut</source>
        <translation>abgebrochen</translation>
    </message>
    <message>
        <source>through</source>
        <translation>durch</translation>
    </message>
    <message>
        <source>own figure</source>
        <translation>eigener Wert</translation>
    </message>
    <message>
        <source>ISO 16750-2:2010 Table 1, as quoted in a public excerpt</source>
        <translation>ISO 16750-2:2010 Tabelle 1, nach einem öffentlichen Auszug</translation>
    </message>
    <message>
        <source>public mailing-list note on flooded batteries, at rest 6 h or more</source>
        <translation>öffentliche Notiz einer Mailingliste zu Nassbatterien, in Ruhe seit 6 h oder mehr</translation>
    </message>
    <message>
        <source>two 12 V batteries in series</source>
        <translation>zwei 12-V-Batterien in Reihe</translation>
    </message>
    <message>
        <source>repair manual note attributing the figures to the Society of Automotive Engineers</source>
        <translation>Notiz eines Reparaturhandbuchs, das die Werte der Society of Automotive Engineers zuschreibt</translation>
    </message>
    <message>
        <source>up to here a point is called dead</source>
        <translation>bis hierher gilt ein Punkt als spannungsfrei</translation>
    </message>
    <message>
        <source>a read-out attempt takes 2 to 20 minutes</source>
        <translation>ein Ausleseversuch dauert 2 bis 20 Minuten</translation>
    </message>
    <message>
        <source>one switch-on is one rise through the module&apos;s minimum</source>
        <translation>einmal Einschalten ist ein Anstieg über das Minimum des Moduls</translation>
    </message>
    <message>
        <source>drops within this after the first rise are bounces</source>
        <translation>Einbrüche in dieser Zeit nach dem ersten Anstieg sind Prellen</translation>
    </message>
    <message>
        <source>general knowledge on jump packs, no published figure found</source>
        <translation>Allgemeinwissen über Starthilfespeicher, kein veröffentlichter Wert gefunden</translation>
    </message>
    <message>
        <source>general knowledge, no published figure found</source>
        <translation>Allgemeinwissen, kein veröffentlichter Wert gefunden</translation>
    </message>
    <message>
        <source>encyclopedia article on the voltage drop test, ground, general guideline</source>
        <translation>Lexikonartikel zur Spannungsabfallmessung, Masse, allgemeine Richtschnur</translation>
    </message>
    <message>
        <source>ISO 16750-2:2023 section 4, ground offset, as listed clause by clause in a public test-bench repository</source>
        <translation>ISO 16750-2:2023 Abschnitt 4, Masseversatz, nach der Aufzählung in einem öffentlichen Prüfstand-Repository</translation>
    </message>
    <message>
        <source>workshop practice for electronic modules</source>
        <translation>Werkstattpraxis für elektronische Module</translation>
    </message>
    <message>
        <source>vehicle workshop manual text (maker not named), two 120 ohm in parallel</source>
        <translation>Text eines Werkstatthandbuchs (Hersteller nicht genannt), zweimal 120 Ohm parallel</translation>
    </message>
    <message>
        <source>two vehicle workshop manuals (makers not named); public cable-supplier table</source>
        <translation>zwei Werkstatthandbücher (Hersteller nicht genannt); öffentliche Tabelle eines Kabellieferanten</translation>
    </message>
    <message>
        <source>public cable-supplier table</source>
        <translation>öffentliche Tabelle eines Kabellieferanten</translation>
    </message>
    <message>
        <source>two vehicle workshop manuals, makers not named</source>
        <translation>zwei Werkstatthandbücher, Hersteller nicht genannt</translation>
    </message>
    <message>
        <source>common practice, no source: kilo-ohms to open, alike for both</source>
        <translation>übliche Praxis, ohne Quelle: Kiloohm bis offen, für beide gleich</translation>
    </message>
    <message>
        <source>bus biasing off</source>
        <translation>Busvorspannung aus</translation>
    </message>
    <message>
        <source>recessive, each line</source>
        <translation>rezessiv, jede Leitung</translation>
    </message>
    <message>
        <source>CANH dominant</source>
        <translation>CANH dominant</translation>
    </message>
    <message>
        <source>CANL dominant</source>
        <translation>CANL dominant</translation>
    </message>
    <message>
        <source>ISO 15765-2:2016, quoted by an open-source UDS library&apos;s documentation (chapter CAN)</source>
        <translation>ISO 15765-2:2016, zitiert in der Dokumentation einer quelloffenen UDS-Bibliothek (Kapitel CAN)</translation>
    </message>
    <message>
        <source>ISO 15765-4:2005 network layer timing table, as repeated on a public page</source>
        <translation>ISO 15765-4:2005 Zeittabelle der Netzwerkschicht, wiedergegeben auf einer öffentlichen Seite</translation>
    </message>
    <message>
        <source>ISO 14229-2, quoted by an open-source UDS library&apos;s documentation (UDS Time Parameters)</source>
        <translation>ISO 14229-2, zitiert in der Dokumentation einer quelloffenen UDS-Bibliothek (UDS Time Parameters)</translation>
    </message>
    <message>
        <source>ISO 14230-2 timing texts quoted word for word in two public K-line source files</source>
        <translation>ISO 14230-2 Zeittexte, wörtlich zitiert in zwei öffentlichen K-Line-Quelldateien</translation>
    </message>
    <message>
        <source>ISO 14230-2 fast initialisation 25 ms and 50 ms; +-1 ms as quoted in a public bench script</source>
        <translation>ISO 14230-2 schnelle Initialisierung 25 ms und 50 ms; +-1 ms nach einem öffentlichen Prüfskript</translation>
    </message>
    <message>
        <source>ISO 15031-5:2011 Table 7, as transcribed in a public header file</source>
        <translation>ISO 15031-5:2011 Tabelle 7, abgeschrieben in einer öffentlichen Headerdatei</translation>
    </message>
    <message>
        <source>SAE J1979 K-line timing quoted in a public document</source>
        <translation>SAE J1979 Zeiten der K-Line, zitiert in einem öffentlichen Dokument</translation>
    </message>
    <message>
        <source>ISO 14230-2 P2 after a response pending, in a public header file</source>
        <translation>ISO 14230-2 P2 nach „response pending“, in einer öffentlichen Headerdatei</translation>
    </message>
    <message>
        <source>half of P3 max</source>
        <translation>die Hälfte von P3 max</translation>
    </message>
    <message>
        <source>three times P2 max</source>
        <translation>dreimal P2 max</translation>
    </message>
    <message>
        <source>more than two initialisations at 5 baud with the idle time before them</source>
        <translation>mehr als zwei Initialisierungen mit 5 Baud samt der Ruhezeit davor</translation>
    </message>
    <message>
        <source>an operator&apos;s answer to a dialogue of the other program</source>
        <translation>eine Antwort des Bedieners auf einen Dialog des anderen Programms</translation>
    </message>
    <message>
        <source>common practice, no source: the quickest periodic messages come every 5 ms</source>
        <translation>übliche Praxis, ohne Quelle: die schnellsten periodischen Botschaften kommen alle 5 ms</translation>
    </message>
    <message>
        <source>twice S3 server</source>
        <translation>zweimal S3 server</translation>
    </message>
    <message>
        <source>Until its reserve is empty a restraint system can act, and a module is only half off.</source>
        <translation>Bis seine Reserve leer ist, kann ein Rückhaltesystem auslösen, und ein Modul ist nur halb aus.</translation>
    </message>
    <message>
        <source>interface unplugged</source>
        <translation>Interface abgesteckt</translation>
    </message>
    <message>
        <source>10 ohm load</source>
        <translation>Last 10 ohm</translation>
    </message>
    <message>
        <source>two nodes with one identifier disturb each other</source>
        <translation>zwei Teilnehmer mit einer Kennung stören einander</translation>
    </message>
    <message>
        <source>check the module&apos;s request identifier</source>
        <translation>die Anfragekennung des Moduls prüfen</translation>
    </message>
    <message>
        <source>start a new run to ask again</source>
        <translation>für weitere Fragen einen neuen Lauf beginnen</translation>
    </message>
    <message>
        <source>check bit rate, wires and termination, then start a new run</source>
        <translation>Bitrate, Leitungen und Abschlusswiderstände prüfen, dann einen neuen Lauf beginnen</translation>
    </message>
    <message>
        <source>let it finish, or disconnect it, and ask again</source>
        <translation>es fertig werden lassen oder abstecken und noch einmal fragen</translation>
    </message>
    <message>
        <source>no valid frame has proven the bit rate of this link yet</source>
        <translation>noch hat kein gültiger Rahmen die Bitrate dieses Links bewiesen</translation>
    </message>
    <message>
        <source>wake the bus, or vouch for the rate by name (rate_fixed in the job)</source>
        <translation>den Bus wecken oder mit Namen für die Bitrate bürgen (rate_fixed im Auftrag)</translation>
    </message>
    <message>
        <source>ask less often</source>
        <translation>seltener fragen</translation>
    </message>
    <message>
        <source>the controller went bus-off when we sent</source>
        <translation>der Controller ging bei unserem Senden auf Bus-Off</translation>
    </message>
    <message>
        <source>name the medium in the URI, or vouch for it (rate_fixed in the job)</source>
        <translation>das Medium in der URI nennen oder dafür bürgen (rate_fixed im Auftrag)</translation>
    </message>
    <message>
        <source>still</source>
        <translation>Stillstand</translation>
    </message>
    <message>
        <source>people</source>
        <translation>Menschen</translation>
    </message>
    <message>
        <source>dry</source>
        <translation>Trockenheit</translation>
    </message>
    <message>
        <source>loops</source>
        <translation>Zündkreise</translation>
    </message>
    <message>
        <source>high-voltage</source>
        <translation>Hochvolt</translation>
    </message>
    <message>
        <source>volts</source>
        <translation>Voltzahl</translation>
    </message>
    <message>
        <source>waited</source>
        <translation>Wartezeit</translation>
    </message>
    <message>
        <source>feed-off</source>
        <translation>Speisung aus</translation>
    </message>
    <message>
        <source>slot</source>
        <translation>Sicherungsplatz</translation>
    </message>
    <message>
        <source>clamp</source>
        <translation>Masseklemme</translation>
    </message>
    <message>
        <source>fixed</source>
        <translation>Befestigung</translation>
    </message>
    <message>
        <source>leads</source>
        <translation>Leitungen</translation>
    </message>
    <message>
        <source>termination</source>
        <translation>Abschlusswiderstände</translation>
    </message>
    <message>
        <source>computer</source>
        <translation>Rechner</translation>
    </message>
    <message>
        <source>bus-quiet</source>
        <translation>ruhiger Bus</translation>
    </message>
</context>
</TS>
