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
</context>
</TS>
