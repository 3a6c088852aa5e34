<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE TS>
<TS version="2.1" language="de">
<context>
    <name>pin16::gui::AttemptsPage</name>
    <message>
        <source>Attempts of this job</source>
        <translation>Versuche dieses Auftrags</translation>
    </message>
    <message>
        <source>No attempt yet.</source>
        <translation>Noch kein Versuch.</translation>
    </message>
    <message>
        <source>the one thing that was changed since, or &quot;nothing: why&quot;</source>
        <translation>das Eine, was seither geändert wurde, oder „nichts: warum“</translation>
    </message>
    <message>
        <source>what the other program said, word for word</source>
        <translation>was das andere Programm sagte, Wort für Wort</translation>
    </message>
    <message>
        <source>its ignition cycles</source>
        <translation>seine Zündzyklen</translation>
    </message>
    <message>
        <source>&quot;ignition cycle, download&quot; of its report, if it has one (49 CFR 563.5)</source>
        <translation>„ignition cycle, download“ aus seinem Bericht, wenn es einen gibt (49 CFR 563.5)</translation>
    </message>
    <message>
        <source>keep</source>
        <translation>behalten</translation>
    </message>
    <message>
        <source>back to the sheet</source>
        <translation>zurück zum Blatt</translation>
    </message>
    <message>
        <source>Change one thing at a time, and say which: then the next attempt can tell something.</source>
        <translation>Immer nur Eines ändern und sagen, was: Dann verrät der nächste Versuch etwas.</translation>
    </message>
    <message>
        <source>under way</source>
        <translation>läuft</translation>
    </message>
    <message>
        <source>ended: %1</source>
        <translation>geendet: %1</translation>
    </message>
    <message>
        <source>power-up %1</source>
        <translation>Einschaltung %1</translation>
    </message>
    <message>
        <source>power-up not known</source>
        <translation>Einschaltung nicht bekannt</translation>
    </message>
    <message>
        <source>changed</source>
        <translation>geändert</translation>
    </message>
    <message>
        <source>not said</source>
        <translation>nicht gesagt</translation>
    </message>
    <message>
        <source>supply</source>
        <translation>Versorgung</translation>
    </message>
    <message>
        <source>not measured</source>
        <translation>nicht gemessen</translation>
    </message>
    <message>
        <source>see its capture</source>
        <translation>siehe seine Aufzeichnung</translation>
    </message>
    <message>
        <source>it said</source>
        <translation>es sagte</translation>
    </message>
    <message>
        <source>ignition cycles</source>
        <translation>Zündzyklen</translation>
    </message>
    <message>
        <source>attempt ends</source>
        <translation>Versuch endet</translation>
    </message>
    <message>
        <source>attempt begins</source>
        <translation>Versuch beginnt</translation>
    </message>
    <message>
        <source>no bit</source>
        <translation>kein Bit</translation>
    </message>
    <message>
        <source>errors only</source>
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
</context>
<context>
    <name>pin16::gui::CautionsDialog</name>
    <message>
        <source>cautions</source>
        <translation>Vorsicht</translation>
    </message>
    <message>
        <source>Before anything is joined: read this once for this job.</source>
        <translation>Bevor etwas verbunden wird: einmal für diesen Auftrag lesen.</translation>
    </message>
    <message>
        <source>your name, for the record</source>
        <translation>Ihr Name, fürs Protokoll</translation>
    </message>
    <message>
        <source>I have read them</source>
        <translation>Ich habe es gelesen</translation>
    </message>
    <message>
        <source>back</source>
        <translation>zurück</translation>
    </message>
</context>
<context>
    <name>pin16::gui::EventModel</name>
    <message>
        <source>seconds</source>
        <translation>Sekunden</translation>
    </message>
    <message>
        <source>link</source>
        <translation>Link</translation>
    </message>
    <message>
        <source>what</source>
        <translation>was</translation>
    </message>
    <message>
        <source>detail</source>
        <translation>Einzelheit</translation>
    </message>
</context>
<context>
    <name>pin16::gui::EventsPanel</name>
    <message>
        <source>search, for instance: id 7E8 ended silent near +2.5</source>
        <translation>Suche, zum Beispiel: id 7E8 ended silent near +2.5</translation>
    </message>
    <message>
        <source>search in the events</source>
        <translation>Suche in den Ereignissen</translation>
    </message>
    <message>
        <source>events</source>
        <translation>Ereignisse</translation>
    </message>
    <message>
        <source>place in the capture</source>
        <translation>Stelle in der Aufzeichnung</translation>
    </message>
    <message>
        <source>%L1 events</source>
        <translation>%L1 Ereignisse</translation>
    </message>
    <message>
        <source>%L1 found</source>
        <translation>%L1 gefunden</translation>
    </message>
    <message>
        <source>the first %L1 shown</source>
        <translation>die ersten %L1 gezeigt</translation>
    </message>
    <message>
        <source>ours</source>
        <translation>von uns</translation>
    </message>
</context>
<context>
    <name>pin16::gui::FarView</name>
    <message>
        <source>near 0</source>
        <translation>nahe 0</translation>
    </message>
    <message>
        <source>in between</source>
        <translation>dazwischen</translation>
    </message>
    <message>
        <source>battery volts</source>
        <translation>Batteriespannung</translation>
    </message>
    <message>
        <source>start</source>
        <translation>Beginn</translation>
    </message>
    <message>
        <source>saw</source>
        <translation>gesehen</translation>
    </message>
    <message>
        <source>heard</source>
        <translation>gehört</translation>
    </message>
    <message>
        <source>stop</source>
        <translation>Ende</translation>
    </message>
    <message>
        <source>back to the sheet (F9)</source>
        <translation>zurück zum Blatt (F9)</translation>
    </message>
    <message>
        <source>not judged yet</source>
        <translation>noch nicht beurteilt</translation>
    </message>
    <message>
        <source>source</source>
        <translation>Quelle</translation>
    </message>
    <message>
        <source>pin 16</source>
        <translation>Pin 16</translation>
    </message>
    <message>
        <source>What does %1 show?</source>
        <translation>Was zeigt %1?</translation>
    </message>
    <message>
        <source>tone for the wiggle test</source>
        <translation>Ton für die Wackelprobe</translation>
    </message>
    <message>
        <source>next channel</source>
        <translation>nächster Kanal</translation>
    </message>
    <message>
        <source>no channel yet</source>
        <translation>noch kein Kanal</translation>
    </message>
    <message>
        <source>This machine has no audio output: no tone.</source>
        <translation>Dieser Rechner hat keine Tonausgabe: kein Ton.</translation>
    </message>
    <message>
        <source>%1 %2 %3, lowest %4 %3</source>
        <translation>%1 %2 %3, tiefster Wert %4 %3</translation>
    </message>
    <message>
        <source>%1: no value for a second</source>
        <translation>%1: seit einer Sekunde kein Wert</translation>
    </message>
    <message>
        <source>Entered: %1, %2</source>
        <translation>Eingetragen: %1, %2</translation>
    </message>
    <message>
        <source>Marked: %1</source>
        <translation>Markiert: %1</translation>
    </message>
</context>
<context>
    <name>pin16::gui::FoundPanel</name>
    <message>
        <source>serial number %1</source>
        <translation>Seriennummer %1</translation>
    </message>
    <message>
        <source>In use by %1: leave it alone if it is the other equipment&apos;s.</source>
        <translation>In Gebrauch von %1: nicht anrühren, wenn es zum anderen Gerät gehört.</translation>
    </message>
    <message>
        <source>No permission to open it: %1</source>
        <translation>Darf nicht geöffnet werden: %1</translation>
    </message>
    <message>
        <source>No serial port.</source>
        <translation>Kein serieller Anschluss.</translation>
    </message>
    <message>
        <source>Bring it up with: %1</source>
        <translation>So wird er in Betrieb genommen: %1</translation>
    </message>
    <message>
        <source>take</source>
        <translation>nehmen</translation>
    </message>
    <message>
        <source>take %1</source>
        <translation>%1 nehmen</translation>
    </message>
    <message>
        <source>what hangs on %1</source>
        <translation>was an %1 hängt</translation>
    </message>
    <message>
        <source>it is …</source>
        <translation>das ist …</translation>
    </message>
    <message>
        <source>meter (SCPI)</source>
        <translation>Messgerät (SCPI)</translation>
    </message>
    <message>
        <source>CAN adapter, serial-line</source>
        <translation>CAN-Adapter, seriell</translation>
    </message>
    <message>
        <source>adapter, AT commands</source>
        <translation>Adapter, AT-Befehle</translation>
    </message>
    <message>
        <source>K-line cable</source>
        <translation>K-Line-Kabel</translation>
    </message>
</context>
<context>
    <name>pin16::gui::Header</name>
    <message>
        <source>progress of reading the capture</source>
        <translation>wie weit die Aufzeichnung gelesen ist</translation>
    </message>
    <message>
        <source>follow</source>
        <translation>mitlaufen</translation>
    </message>
    <message>
        <source>menu</source>
        <translation>Menü</translation>
    </message>
    <message>
        <source>power-ups %1 of %2</source>
        <translation>Einschaltungen %1 von %2</translation>
    </message>
    <message>
        <source>power-ups %1</source>
        <translation>Einschaltungen %1</translation>
    </message>
    <message>
        <source>not judged yet</source>
        <translation>noch nicht beurteilt</translation>
    </message>
    <message>
        <source>An attempt of the other equipment runs: until it ends (F10) nothing is asked, judged or indexed, and the figures below stay as they were.</source>
        <translation>Ein Versuch des anderen Geräts läuft: Bis er endet (F10), wird nichts gefragt, beurteilt oder erschlossen, und die Werte unten bleiben, wie sie waren.</translation>
    </message>
    <message>
        <source>menu: pages, sections, look</source>
        <translation>Menü: Seiten, Abschnitte, Aussehen</translation>
    </message>
</context>
<context>
    <name>pin16::gui::HookUpPage</name>
    <message>
        <source>Hook-up, power last</source>
        <translation>Anschließen, Strom zuletzt</translation>
    </message>
    <message>
        <source>your name, for the record</source>
        <translation>Ihr Name, fürs Protokoll</translation>
    </message>
    <message>
        <source>back to the sheet</source>
        <translation>zurück zum Blatt</translation>
    </message>
</context>
<context>
    <name>pin16::gui::HookUpRow</name>
    <message>
        <source>why it is passed over, then Return</source>
        <translation>warum übergangen, dann Eingabetaste</translation>
    </message>
    <message>
        <source>pass over …</source>
        <translation>übergehen …</translation>
    </message>
    <message>
        <source>locked: what stands before it is open</source>
        <translation>gesperrt: Davor ist etwas offen</translation>
    </message>
    <message>
        <source>open</source>
        <translation>offen</translation>
    </message>
    <message>
        <source>open; ticks itself when: %1</source>
        <translation>offen; hakt sich selbst ab, wenn: %1</translation>
    </message>
    <message>
        <source>seen: %1</source>
        <translation>gesehen: %1</translation>
    </message>
    <message>
        <source>done</source>
        <translation>getan</translation>
    </message>
    <message>
        <source>done, says %1</source>
        <translation>getan, sagt %1</translation>
    </message>
    <message>
        <source>passed over by %1: %2</source>
        <translation>übergangen von %1: %2</translation>
    </message>
    <message>
        <source>power comes on …</source>
        <translation>Strom kommt …</translation>
    </message>
    <message>
        <source>take back</source>
        <translation>zurücknehmen</translation>
    </message>
</context>
<context>
    <name>pin16::gui::JobForm</name>
    <message>
        <source>A new job</source>
        <translation>Ein neuer Auftrag</translation>
    </message>
    <message>
        <source>Only the arrangement must be known. What you do not know stays empty: a guess here would be taken for knowledge later.</source>
        <translation>Nur die Anordnung muss bekannt sein. Was Sie nicht wissen, bleibt leer: Eine Vermutung würde später für Wissen gehalten.</translation>
    </message>
    <message>
        <source>file of the job</source>
        <translation>Datei des Auftrags</translation>
    </message>
    <message>
        <source>choose …</source>
        <translation>wählen …</translation>
    </message>
    <message>
        <source>choose: %1</source>
        <translation>wählen: %1</translation>
    </message>
    <message>
        <source>write the job</source>
        <translation>Auftrag schreiben</translation>
    </message>
    <message>
        <source>back</source>
        <translation>zurück</translation>
    </message>
    <message>
        <source>Jobs (*.toml);;All files (*)</source>
        <translation>Aufträge (*.toml);;Alle Dateien (*)</translation>
    </message>
    <message>
        <source>The job</source>
        <translation>Der Auftrag</translation>
    </message>
    <message>
        <source>what people call it</source>
        <translation>wie man ihn nennt</translation>
    </message>
    <message>
        <source>Yard 14, silver van</source>
        <translation>Hof 14, silberner Transporter</translation>
    </message>
    <message>
        <source>arrangement</source>
        <translation>Anordnung</translation>
    </message>
    <message>
        <source>in the vehicle, its own battery</source>
        <translation>im Fahrzeug, eigene Batterie</translation>
    </message>
    <message>
        <source>in the vehicle, fed at the fuse slot</source>
        <translation>im Fahrzeug, am Sicherungsplatz gespeist</translation>
    </message>
    <message>
        <source>removed, on the table</source>
        <translation>ausgebaut, auf dem Tisch</translation>
    </message>
    <message>
        <source>which bus</source>
        <translation>welcher Bus</translation>
    </message>
    <message>
        <source>module&apos;s bus is on the connector</source>
        <translation>Bus des Moduls liegt am Stecker</translation>
    </message>
    <message>
        <source>behind a gateway</source>
        <translation>hinter einem Gateway</translation>
    </message>
    <message>
        <source>leads on the module&apos;s own bus</source>
        <translation>Leitungen am Bus des Moduls</translation>
    </message>
    <message>
        <source>electrical system</source>
        <translation>Bordnetz</translation>
    </message>
    <message>
        <source>12 V</source>
        <translation>12 V</translation>
    </message>
    <message>
        <source>24 V</source>
        <translation>24 V</translation>
    </message>
    <message>
        <source>budget of power-ups</source>
        <translation>Budget an Einschaltungen</translation>
    </message>
    <message>
        <source>stop after so many attempts that end alike</source>
        <translation>Halt nach so vielen gleich endenden Versuchen</translation>
    </message>
    <message>
        <source>wait with all supplies off, seconds</source>
        <translation>Wartezeit ohne jede Speisung, Sekunden</translation>
    </message>
    <message>
        <source>this vehicle&apos;s own figure</source>
        <translation>Angabe für dieses Fahrzeug</translation>
    </message>
    <message>
        <source>where that figure stands</source>
        <translation>wo diese Angabe steht</translation>
    </message>
    <message>
        <source>service information, chapter</source>
        <translation>Serviceunterlagen, Kapitel</translation>
    </message>
    <message>
        <source>sealed: nothing is ever sent, the gate stays shut</source>
        <translation>versiegelt: Nichts wird je gesendet, das Tor bleibt zu</translation>
    </message>
    <message>
        <source>The module</source>
        <translation>Das Modul</translation>
    </message>
    <message>
        <source>As far as it is known, from its label or the service information.</source>
        <translation>Soweit bekannt, vom Etikett oder aus den Serviceunterlagen.</translation>
    </message>
    <message>
        <source>what it is</source>
        <translation>was es ist</translation>
    </message>
    <message>
        <source>restraint control module</source>
        <translation>Steuergerät der Rückhaltesysteme</translation>
    </message>
    <message>
        <source>vehicle identification number</source>
        <translation>Fahrzeug-Identifizierungsnummer</translation>
    </message>
    <message>
        <source>its pins: feed, ground, bus</source>
        <translation>seine Kontakte: Speisung, Masse, Bus</translation>
    </message>
    <message>
        <source>1 and 20 feed, 21 ground, 5 and 6 bus</source>
        <translation>1 und 20 Speisung, 21 Masse, 5 und 6 Bus</translation>
    </message>
    <message>
        <source>identifiers unknown</source>
        <translation>Kennungen unbekannt</translation>
    </message>
    <message>
        <source>11-bit identifiers</source>
        <translation>11-Bit-Kennungen</translation>
    </message>
    <message>
        <source>29-bit identifiers</source>
        <translation>29-Bit-Kennungen</translation>
    </message>
    <message>
        <source>address on K-line or J1850</source>
        <translation>Adresse auf K-Line oder J1850</translation>
    </message>
    <message>
        <source>addressing</source>
        <translation>Adressierung</translation>
    </message>
    <message>
        <source>its address</source>
        <translation>seine Adresse</translation>
    </message>
    <message>
        <source>identifier of requests</source>
        <translation>Kennung der Anfragen</translation>
    </message>
    <message>
        <source>identifier of answers</source>
        <translation>Kennung der Antworten</translation>
    </message>
    <message>
        <source>least volts</source>
        <translation>mindestens Volt</translation>
    </message>
    <message>
        <source>most volts</source>
        <translation>höchstens Volt</translation>
    </message>
    <message>
        <source>bit rate, bit/s</source>
        <translation>Bitrate, bit/s</translation>
    </message>
    <message>
        <source>unknown</source>
        <translation>unbekannt</translation>
    </message>
    <message>
        <source>bus</source>
        <translation>Bus</translation>
    </message>
    <message>
        <source>CAN, or unknown</source>
        <translation>CAN, oder unbekannt</translation>
    </message>
    <message>
        <source>What feeds it</source>
        <translation>Was es speist</translation>
    </message>
    <message>
        <source>For the prediction of a clean start. Leave it out if you do not know it.</source>
        <translation>Für die Vorhersage eines sauberen Starts. Weglassen, wenn nicht bekannt.</translation>
    </message>
    <message>
        <source>not described</source>
        <translation>nicht beschrieben</translation>
    </message>
    <message>
        <source>battery or pack</source>
        <translation>Batterie oder Starthilfe-Akku</translation>
    </message>
    <message>
        <source>bench supply with a limit</source>
        <translation>Labornetzgerät mit Grenze</translation>
    </message>
    <message>
        <source>source</source>
        <translation>Quelle</translation>
    </message>
    <message>
        <source>its volts at rest</source>
        <translation>ihre Ruhespannung, V</translation>
    </message>
    <message>
        <source>its limit, A</source>
        <translation>ihre Grenze, A</translation>
    </message>
    <message>
        <source>fuse in the lead, A</source>
        <translation>Sicherung in der Leitung, A</translation>
    </message>
    <message>
        <source>lead, mm²</source>
        <translation>Leitung, mm²</translation>
    </message>
    <message>
        <source>lead, m there and back</source>
        <translation>Leitung, m hin und zurück</translation>
    </message>
    <message>
        <source>Links and meters</source>
        <translation>Verbindungen und Messgeräte</translation>
    </message>
    <message>
        <source>What is plugged in shows here by itself. No port is opened to see what it is: you say so.</source>
        <translation>Was eingesteckt ist, erscheint hier von selbst. Kein Anschluss wird geöffnet, um nachzusehen: Sie sagen es.</translation>
    </message>
    <message>
        <source>another link</source>
        <translation>weitere Verbindung</translation>
    </message>
    <message>
        <source>another meter</source>
        <translation>weiteres Messgerät</translation>
    </message>
    <message>
        <source>meter</source>
        <translation>Messgerät</translation>
    </message>
    <message>
        <source>link</source>
        <translation>Verbindung</translation>
    </message>
    <message>
        <source>its volts lie at</source>
        <translation>seine Volt liegen an</translation>
    </message>
    <message>
        <source>its amperes are</source>
        <translation>seine Ampere sind</translation>
    </message>
    <message>
        <source>not used</source>
        <translation>nicht benutzt</translation>
    </message>
    <message>
        <source>what for</source>
        <translation>wofür</translation>
    </message>
    <message>
        <source>take away</source>
        <translation>wegnehmen</translation>
    </message>
    <message>
        <source>take away this link or meter</source>
        <translation>diese Verbindung oder dieses Messgerät wegnehmen</translation>
    </message>
    <message>
        <source>Say where the job is to be written.</source>
        <translation>Sagen Sie, wohin der Auftrag geschrieben werden soll.</translation>
    </message>
    <message>
        <source>%1 cannot be made</source>
        <translation>%1 kann nicht angelegt werden</translation>
    </message>
    <message>
        <source>Choose one: what is expected follows from it.</source>
        <translation>Eine wählen: Daraus folgt, was zu erwarten ist.</translation>
    </message>
    <message>
        <source>for instance %1</source>
        <translation>zum Beispiel %1</translation>
    </message>
</context>
<context>
    <name>pin16::gui::LiveBar</name>
    <message>
        <source>power comes on …</source>
        <translation>Strom kommt …</translation>
    </message>
    <message>
        <source>ask</source>
        <translation>fragen</translation>
    </message>
    <message>
        <source>One functional request, then the VIN of each module that answers: read-only, through the gate.</source>
        <translation>Eine funktionale Anfrage, dann die Fahrgestellnummer von jedem Modul, das antwortet: nur lesend, durch das Tor.</translation>
    </message>
    <message>
        <source>attempt begins</source>
        <translation>Versuch beginnt</translation>
    </message>
    <message>
        <source>note into the recording</source>
        <translation>Notiz in die Aufzeichnung</translation>
    </message>
    <message>
        <source>end recording</source>
        <translation>Aufzeichnung beenden</translation>
    </message>
    <message>
        <source>power goes off</source>
        <translation>Strom geht weg</translation>
    </message>
    <message>
        <source>attempt ends</source>
        <translation>Versuch endet</translation>
    </message>
    <message>
        <source>asking …</source>
        <translation>fragt …</translation>
    </message>
    <message>
        <source>I know it is %1 kbit/s: ask</source>
        <translation>Ich weiß, es sind %1 kbit/s: fragen</translation>
    </message>
    <message>
        <source>I know it is right: ask</source>
        <translation>Ich weiß, sie stimmt: fragen</translation>
    </message>
    <message>
        <source>Not asked: no frame has shown yet that the bit rate is right, and asking at a wrong one disturbs the bus. Wake the bus (ignition, a door) and ask again; or, if you know the rate:</source>
        <translation>Nicht gefragt: Noch hat kein Rahmen gezeigt, dass die Bitrate stimmt, und mit einer falschen zu fragen stört den Bus. Bus wecken (Zündung, Tür) und noch einmal fragen; oder, wenn Sie die Rate kennen:</translation>
    </message>
</context>
<context>
    <name>pin16::gui::LiveSource</name>
    <message>
        <source>recording ended</source>
        <translation>Aufzeichnung beendet</translation>
    </message>
    <message>
        <source>recording %1:%2, %3 lost</source>
        <translation>zeichnet auf, %1:%2, %3 verloren</translation>
    </message>
    <message>
        <source>hands off</source>
        <translation>Hände weg</translation>
    </message>
    <message>
        <source>finished</source>
        <translation>fertig</translation>
    </message>
    <message>
        <source>stalled %1 s</source>
        <translation>steht seit %1 s</translation>
    </message>
    <message>
        <source>requests sent: %1</source>
        <translation>Anfragen gesendet: %1</translation>
    </message>
    <message>
        <source>Next: this recording only listens. If the case allows a read-only request, end it and begin one that may ask.</source>
        <translation>Als Nächstes: Diese Aufzeichnung hört nur zu. Wenn der Fall eine nur lesende Anfrage erlaubt, sie beenden und eine beginnen, die fragen darf.</translation>
    </message>
    <message>
        <source>Next: press &quot;ask&quot;, if the case allows one read-only request.</source>
        <translation>Als Nächstes: „fragen“ drücken, wenn der Fall eine nur lesende Anfrage erlaubt.</translation>
    </message>
    <message>
        <source>no link and no meter is named: nothing is heard, only what is typed is recorded</source>
        <translation>keine Verbindung und kein Messgerät ist genannt: Nichts wird gehört, nur Getipptes wird aufgezeichnet</translation>
    </message>
</context>
<context>
    <name>pin16::gui::Look</name>
    <message>
        <source>sound</source>
        <translation>in Ordnung</translation>
    </message>
    <message>
        <source>marginal</source>
        <translation>grenzwertig</translation>
    </message>
    <message>
        <source>faulty</source>
        <translation>fehlerhaft</translation>
    </message>
    <message>
        <source>not measured</source>
        <translation>nicht gemessen</translation>
    </message>
    <message>
        <source>not asked</source>
        <translation>nicht gefragt</translation>
    </message>
    <message>
        <source>ready</source>
        <translation>bereit</translation>
    </message>
    <message>
        <source>not ready</source>
        <translation>nicht bereit</translation>
    </message>
    <message>
        <source>undecided</source>
        <translation>unentschieden</translation>
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
        <source>own battery</source>
        <translation>eigene Batterie</translation>
    </message>
    <message>
        <source>fed in place</source>
        <translation>im Fahrzeug fremdgespeist</translation>
    </message>
    <message>
        <source>removed, on the table</source>
        <translation>ausgebaut, auf dem Tisch</translation>
    </message>
</context>
<context>
    <name>pin16::gui::PluginsPage</name>
    <message>
        <source>Plugins: settings, and what they found</source>
        <translation>Plugins: Einstellungen, und was sie fanden</translation>
    </message>
    <message>
        <source>An empty field stands for its default. Findings lower a verdict and never raise one.</source>
        <translation>Ein leeres Feld steht für seinen Vorgabewert. Befunde senken ein Urteil und heben nie eines.</translation>
    </message>
    <message>
        <source>No plugin runs.</source>
        <translation>Kein Plugin läuft.</translation>
    </message>
    <message>
        <source>use</source>
        <translation>anwenden</translation>
    </message>
    <message>
        <source>For what is in view: a capture is read again, a recording goes on with them.</source>
        <translation>Für das, was zu sehen ist: Eine Aufzeichnung wird neu gelesen, eine laufende geht damit weiter.</translation>
    </message>
    <message>
        <source>keep in the job</source>
        <translation>im Auftrag behalten</translation>
    </message>
    <message>
        <source>back to the sheet</source>
        <translation>zurück zum Blatt</translation>
    </message>
    <message>
        <source> (%1 to %2%3)</source>
        <translation> (%1 bis %2%3)</translation>
    </message>
    <message>
        <source>ended: %1</source>
        <translation>geendet: %1</translation>
    </message>
    <message>
        <source>%1 findings before these</source>
        <translation>%1 Befunde vor diesen</translation>
    </message>
    <message>
        <source>nothing found so far</source>
        <translation>bisher nichts gefunden</translation>
    </message>
</context>
<context>
    <name>pin16::gui::ReasonsPanel</name>
    <message>
        <source>reasons and next measurement</source>
        <translation>Ursachen und nächste Messung</translation>
    </message>
    <message>
        <source>result of the next measurement</source>
        <translation>Ergebnis der nächsten Messung</translation>
    </message>
    <message>
        <source>enter</source>
        <translation>eintragen</translation>
    </message>
    <message>
        <source>skip</source>
        <translation>auslassen</translation>
    </message>
    <message>
        <source>This reading cannot be had: ask for another one.</source>
        <translation>Diese Messung ist nicht möglich: nach einer anderen fragen.</translation>
    </message>
    <message>
        <source>read the bench&apos;s meter</source>
        <translation>Messgerät des Prüfstands ablesen</translation>
    </message>
    <message>
        <source>next: about %1 min, module fed</source>
        <translation>als Nächstes: etwa %1 min, Modul gespeist</translation>
    </message>
    <message>
        <source>next: about %1 min, module not fed</source>
        <translation>als Nächstes: etwa %1 min, Modul nicht gespeist</translation>
    </message>
    <message>
        <source>It decides the step %1.</source>
        <translation>Sie entscheidet den Schritt %1.</translation>
    </message>
    <message>
        <source>module fed</source>
        <translation>Modul gespeist</translation>
    </message>
    <message>
        <source>source on, module not fed</source>
        <translation>Quelle an, Modul nicht gespeist</translation>
    </message>
    <message>
        <source>power off</source>
        <translation>Strom aus</translation>
    </message>
    <message>
        <source>next: about %1 min, %2</source>
        <translation>als Nächstes: etwa %1 min, %2</translation>
    </message>
    <message>
        <source>costs a power-up</source>
        <translation>kostet eine Einschaltung</translation>
    </message>
    <message>
        <source>Caution: %1</source>
        <translation>Vorsicht: %1</translation>
    </message>
    <message>
        <source>%1: the first one becomes %2</source>
        <translation>%1: die erste wird %2</translation>
    </message>
    <message>
        <source>%1: it becomes %2</source>
        <translation>%1: sie wird %2</translation>
    </message>
    <message>
        <source>ohm, or OL</source>
        <translation>Ohm, oder OL</translation>
    </message>
    <message>
        <source>what can keep it from answering</source>
        <translation>was es am Antworten hindern kann</translation>
    </message>
    <message>
        <source>The module answers: there is nothing to look for here.</source>
        <translation>Das Modul antwortet: hier ist nichts zu suchen.</translation>
    </message>
    <message>
        <source>Weighing the causes …</source>
        <translation>Die Ursachen werden abgewogen …</translation>
    </message>
    <message>
        <source>Nothing known explains these readings. Take again those that do not fit.</source>
        <translation>Nichts Bekanntes erklärt diese Messungen. Was nicht passt, noch einmal messen.</translation>
    </message>
    <message>
        <source>%1 %2 does not fit the rest, %3 expected: take it again.</source>
        <translation>%1 %2 passt nicht zum Rest, %3 war zu erwarten: noch einmal messen.</translation>
    </message>
    <message>
        <source>To mend the first: %1.</source>
        <translation>Abhilfe für die erste: %1.</translation>
    </message>
    <message>
        <source>Caution: %1.</source>
        <translation>Vorsicht: %1.</translation>
    </message>
    <message>
        <source>; or </source>
        <translation>; oder </translation>
    </message>
    <message>
        <source>power as it is</source>
        <translation>Versorgung wie sie ist</translation>
    </message>
    <message>
        <source>not asked yet; should it not answer, what can keep it from that</source>
        <translation>noch nicht gefragt; sollte es nicht antworten, was es daran hindern kann</translation>
    </message>
</context>
<context>
    <name>pin16::gui::ReviewSource</name>
    <message>
        <source>reading %1, %2 %</source>
        <translation>liest %1, %2 %</translation>
    </message>
    <message>
        <source>review of %1</source>
        <translation>Durchsicht von %1</translation>
    </message>
</context>
<context>
    <name>pin16::gui::Source</name>
    <message>
        <source>nothing sent</source>
        <translation>nichts gesendet</translation>
    </message>
    <message>
        <source>frames sent: %1</source>
        <translation>Rahmen gesendet: %1</translation>
    </message>
    <message>
        <source>First: %1</source>
        <translation>Zuerst: %1</translation>
    </message>
    <message>
        <source>Next: %1</source>
        <translation>Als Nächstes: %1</translation>
    </message>
</context>
<context>
    <name>pin16::gui::StartPage</name>
    <message>
        <source>Shows the way from the source to the answer, and keeps a record of it. Pin16 listens unless told to send.</source>
        <translation>Zeigt den Weg von der Quelle bis zur Antwort und zeichnet ihn auf. Pin16 hört zu, solange ihm niemand zu senden sagt.</translation>
    </message>
    <message>
        <source>choose …</source>
        <translation>wählen …</translation>
    </message>
    <message>
        <source>choose: %1</source>
        <translation>wählen: %1</translation>
    </message>
    <message>
        <source>Jobs (*.toml);;All files (*)</source>
        <translation>Aufträge (*.toml);;Alle Dateien (*)</translation>
    </message>
    <message>
        <source>Review a capture</source>
        <translation>Eine Aufzeichnung durchsehen</translation>
    </message>
    <message>
        <source>What was recorded, judged anew: pcapng or pcap with CAN frames.</source>
        <translation>Was aufgezeichnet wurde, neu beurteilt: pcapng oder pcap mit CAN-Rahmen.</translation>
    </message>
    <message>
        <source>capture</source>
        <translation>Aufzeichnung</translation>
    </message>
    <message>
        <source>Captures (*.pcapng *.pcap);;All files (*)</source>
        <translation>Aufzeichnungen (*.pcapng *.pcap);;Alle Dateien (*)</translation>
    </message>
    <message>
        <source>its job, if there is one (job.toml beside it is found)</source>
        <translation>ihr Auftrag, wenn es einen gibt (job.toml daneben wird gefunden)</translation>
    </message>
    <message>
        <source>review</source>
        <translation>durchsehen</translation>
    </message>
    <message>
        <source>may ask: read-only requests, each by hand</source>
        <translation>darf fragen: nur lesende Anfragen, jede von Hand</translation>
    </message>
    <message>
        <source>Record a job</source>
        <translation>Einen Auftrag aufzeichnen</translation>
    </message>
    <message>
        <source>Listens on the job&apos;s links and meters, and writes everything down. A recording goes on when this window dies.</source>
        <translation>Hört an den Links und Messgeräten des Auftrags zu und schreibt alles auf. Die Aufzeichnung läuft weiter, wenn dieses Fenster stirbt.</translation>
    </message>
    <message>
        <source>job</source>
        <translation>Auftrag</translation>
    </message>
    <message>
        <source>record</source>
        <translation>aufzeichnen</translation>
    </message>
    <message>
        <source>Try a bench scenario</source>
        <translation>Ein Szenario des Prüfstands ausprobieren</translation>
    </message>
    <message>
        <source>scenario</source>
        <translation>Szenario</translation>
    </message>
    <message>
        <source>try it</source>
        <translation>ausprobieren</translation>
    </message>
    <message>
        <source>new job …</source>
        <translation>neuer Auftrag …</translation>
    </message>
    <message>
        <source>links and meters in place of the job&apos;s</source>
        <translation>Verbindungen und Messgeräte statt derer des Auftrags</translation>
    </message>
    <message>
        <source>A simulated bench to learn on: nothing is connected. Each is told as a technician meets it; what is wrong, if anything, is for you to find.</source>
        <translation>Ein simulierter Prüfstand zum Lernen: Nichts ist angeschlossen. Jedes Szenario wird erzählt, wie ein Techniker es antrifft; was daran faul ist, wenn überhaupt etwas, finden Sie selbst.</translation>
    </message>
    <message>
        <source>show what is wrong with it</source>
        <translation>zeigen, was daran faul ist</translation>
    </message>
</context>
<context>
    <name>pin16::gui::StepRow</name>
    <message>
        <source>optional here</source>
        <translation>hier freigestellt</translation>
    </message>
    <message>
        <source>limit: %1</source>
        <translation>Grenze: %1</translation>
    </message>
    <message>
        <source>found by plugin %1</source>
        <translation>gefunden vom Plugin %1</translation>
    </message>
</context>
<context>
    <name>pin16::gui::StepsPanel</name>
    <message>
        <source>steps from source to answer</source>
        <translation>Schritte von der Quelle bis zur Antwort</translation>
    </message>
    <message>
        <source>from source to answer</source>
        <translation>von der Quelle bis zur Antwort</translation>
    </message>
    <message>
        <source>Not judged yet.</source>
        <translation>Noch nicht beurteilt.</translation>
    </message>
</context>
<context>
    <name>pin16::gui::SupplyPath</name>
    <message>
        <source>supply path</source>
        <translation>Versorgungsweg</translation>
    </message>
    <message>
        <source>expected %1</source>
        <translation>erwartet %1</translation>
    </message>
    <message>
        <source>differs</source>
        <translation>weicht ab</translation>
    </message>
    <message>
        <source>nothing measured</source>
        <translation>nichts gemessen</translation>
    </message>
    <message>
        <source>not measured</source>
        <translation>nicht gemessen</translation>
    </message>
    <message>
        <source>battery</source>
        <translation>Batterie</translation>
    </message>
    <message>
        <source>source</source>
        <translation>Quelle</translation>
    </message>
    <message>
        <source>fuse box</source>
        <translation>Sicherungskasten</translation>
    </message>
    <message>
        <source>harness</source>
        <translation>Kabelbaum</translation>
    </message>
    <message>
        <source>fuse slot</source>
        <translation>Steckplatz</translation>
    </message>
    <message>
        <source>feed</source>
        <translation>Speisung</translation>
    </message>
    <message>
        <source>load side</source>
        <translation>Lastseite</translation>
    </message>
    <message>
        <source>load blade</source>
        <translation>Lastkontakt</translation>
    </message>
    <message>
        <source>lamp lit</source>
        <translation>Lampe an</translation>
    </message>
    <message>
        <source>lamp dark</source>
        <translation>Lampe aus</translation>
    </message>
    <message>
        <source>connector fuse</source>
        <translation>Sicherung der Buchse</translation>
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
        <source>pin 16</source>
        <translation>Pin 16</translation>
    </message>
    <message>
        <source>interface supply</source>
        <translation>Interface, Strom</translation>
    </message>
    <message>
        <source>ground drop</source>
        <translation>Masse, Abfall</translation>
    </message>
    <message>
        <source>ground post</source>
        <translation>Massepunkt</translation>
    </message>
    <message>
        <source>clamp drop</source>
        <translation>Klemme, Abfall</translation>
    </message>
    <message>
        <source>module</source>
        <translation>Modul</translation>
    </message>
    <message>
        <source>%1 to %2 V</source>
        <translation>%1 bis %2 V</translation>
    </message>
    <message>
        <source>current</source>
        <translation>Strom</translation>
    </message>
    <message>
        <source>CAN high, pin 6</source>
        <translation>CAN high, Pin 6</translation>
    </message>
    <message>
        <source>CAN low, pin 14</source>
        <translation>CAN low, Pin 14</translation>
    </message>
    <message>
        <source>between them, off</source>
        <translation>dazwischen, aus</translation>
    </message>
    <message>
        <source>fuse</source>
        <translation>Sicherung</translation>
    </message>
</context>
<context>
    <name>pin16::gui::TimeAxis</name>
    <message>
        <source>time axis</source>
        <translation>Zeitachse</translation>
    </message>
    <message>
        <source>volts</source>
        <translation>Volt</translation>
    </message>
    <message>
        <source>amperes</source>
        <translation>Ampere</translation>
    </message>
    <message>
        <source>bus load</source>
        <translation>Buslast</translation>
    </message>
    <message>
        <source>▲ power-up %1</source>
        <translation>▲ Einschaltung %1</translation>
    </message>
    <message>
        <source>▽ power off</source>
        <translation>▽ Strom aus</translation>
    </message>
    <message>
        <source>gap</source>
        <translation>Lücke</translation>
    </message>
    <message>
        <source>lost</source>
        <translation>verloren</translation>
    </message>
    <message>
        <source>‹ attempt</source>
        <translation>‹ Versuch</translation>
    </message>
    <message>
        <source>end ›</source>
        <translation>Ende ›</translation>
    </message>
    <message>
        <source>exchanges</source>
        <translation>Frage und Antwort</translation>
    </message>
    <message>
        <source>none here</source>
        <translation>hier keine</translation>
    </message>
    <message>
        <source>nothing with a time yet</source>
        <translation>noch nichts mit einer Zeit</translation>
    </message>
    <message>
        <source>below %1 V</source>
        <translation>unter %1 V</translation>
    </message>
</context>
<context>
    <name>pin16::gui::Window</name>
    <message>
        <source>start page</source>
        <translation>Startseite</translation>
    </message>
    <message>
        <source>search</source>
        <translation>Suche</translation>
    </message>
    <message>
        <source>whole time</source>
        <translation>ganze Zeit</translation>
    </message>
    <message>
        <source>follow or stand still</source>
        <translation>mitlaufen oder stehenbleiben</translation>
    </message>
    <message>
        <source>supply path</source>
        <translation>Versorgungsweg</translation>
    </message>
    <message>
        <source>time axis</source>
        <translation>Zeitachse</translation>
    </message>
    <message>
        <source>reasons</source>
        <translation>Ursachen</translation>
    </message>
    <message>
        <source>events</source>
        <translation>Ereignisse</translation>
    </message>
    <message>
        <source>look</source>
        <translation>Aussehen</translation>
    </message>
    <message>
        <source>light</source>
        <translation>hell</translation>
    </message>
    <message>
        <source>dark</source>
        <translation>dunkel</translation>
    </message>
    <message>
        <source>high contrast</source>
        <translation>starker Kontrast</translation>
    </message>
    <message>
        <source>next look</source>
        <translation>nächstes Aussehen</translation>
    </message>
    <message>
        <source>%1 cannot be written</source>
        <translation>%1 kann nicht geschrieben werden</translation>
    </message>
    <message>
        <source>The bench has no meter for this: skip it.</source>
        <translation>Dafür hat der Prüfstand kein Messgerät: auslassen.</translation>
    </message>
    <message>
        <source>before power</source>
        <translation>vor dem Einschalten</translation>
    </message>
    <message>
        <source>your name, for the record</source>
        <translation>Ihr Name, für die Aufzeichnung</translation>
    </message>
    <message>
        <source>not known</source>
        <translation>nicht bekannt</translation>
    </message>
    <message>
        <source>yes</source>
        <translation>ja</translation>
    </message>
    <message>
        <source>no</source>
        <translation>nein</translation>
    </message>
    <message>
        <source>go on, because …</source>
        <translation>weiter, weil …</translation>
    </message>
    <message>
        <source>reason</source>
        <translation>Grund</translation>
    </message>
    <message>
        <source>power is on now</source>
        <translation>der Strom ist jetzt an</translation>
    </message>
    <message>
        <source>leave it off</source>
        <translation>aus lassen</translation>
    </message>
    <message>
        <source>power stays off: %1</source>
        <translation>der Strom bleibt aus: %1</translation>
    </message>
    <message>
        <source>the recording</source>
        <translation>die Aufzeichnung</translation>
    </message>
    <message>
        <source>the recording runs</source>
        <translation>die Aufzeichnung läuft</translation>
    </message>
    <message>
        <source>%1 is being written. End it, or leave it running? One that is left running is ended with `pin16 note --end`.</source>
        <translation>%1 wird gerade geschrieben. Beenden oder weiterlaufen lassen? Eine, die weiterläuft, beendet `pin16 note --end`.</translation>
    </message>
    <message>
        <source>end it</source>
        <translation>beenden</translation>
    </message>
    <message>
        <source>leave it running</source>
        <translation>weiterlaufen lassen</translation>
    </message>
    <message>
        <source>stay</source>
        <translation>bleiben</translation>
    </message>
    <message>
        <source>no job given</source>
        <translation>ohne Auftrag</translation>
    </message>
    <message>
        <source>arm&apos;s length</source>
        <translation>auf Armlänge</translation>
    </message>
    <message>
        <source>power-ups so far: %1 of %2</source>
        <translation>Einschaltungen bisher: %1 von %2</translation>
    </message>
    <message>
        <source>power-ups so far: %1</source>
        <translation>Einschaltungen bisher: %1</translation>
    </message>
    <message>
        <source>hook-up</source>
        <translation>Anschließen</translation>
    </message>
    <message>
        <source>The hook-up is not done (F11): %1. It will be noted so.</source>
        <translation>Das Anschließen ist nicht fertig (F11): %1. So wird es vermerkt.</translation>
    </message>
    <message>
        <source>Attempt ended. F12: what the other program said.</source>
        <translation>Versuch beendet. F12: was das andere Programm sagte.</translation>
    </message>
    <message>
        <source>attempts</source>
        <translation>Versuche</translation>
    </message>
    <message>
        <source>The plugins have begun anew with these settings.</source>
        <translation>Die Plugins haben mit diesen Einstellungen neu begonnen.</translation>
    </message>
    <message>
        <source>The capture is read again with these settings.</source>
        <translation>Die Aufzeichnung wird mit diesen Einstellungen neu gelesen.</translation>
    </message>
    <message>
        <source>They stand in the job now.</source>
        <translation>Sie stehen jetzt im Auftrag.</translation>
    </message>
    <message>
        <source>plugins</source>
        <translation>Plugins</translation>
    </message>
    <message>
        <source>power-ups left: %1 of %2</source>
        <translation>Einschaltungen übrig: %1 von %2</translation>
    </message>
    <message>
        <source>budget of %1 power-ups used up</source>
        <translation>Budget von %1 Einschaltungen aufgebraucht</translation>
    </message>
</context>
</TS>
