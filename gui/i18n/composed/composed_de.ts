<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE TS>
<TS version="2.1" language="de_DE">
<context>
    <name>composed</name>
    <message>
        <source>Not ready: {}.</source>
        <translation>Nicht bereit: {0}.</translation>
    </message>
    <message>
        <source>Faulty: {}.</source>
        <translation>Fehlerhaft: {0}.</translation>
    </message>
    <message>
        <source>Undecided: not measured: {}.</source>
        <translation>Unentschieden, nicht gemessen: {0}.</translation>
    </message>
    <message>
        <source>Next, {} decides.</source>
        <translation>Als Nächstes entscheidet {0}.</translation>
    </message>
    <message>
        <source>Before power, {}: see to it first.</source>
        <translation>Vor dem Einschalten, {0}: zuerst erledigen.</translation>
    </message>
    <message>
        <source>marginal: {}</source>
        <translation>grenzwertig: {0}</translation>
    </message>
    <message>
        <source>not asked (sealed): {}</source>
        <translation>nicht gefragt (versiegelt): {0}</translation>
    </message>
    <message>
        <source>not measured and not needed here: {}</source>
        <translation>nicht gemessen und hier nicht nötig: {0}</translation>
    </message>
    <message>
        <source>not cleared: {}</source>
        <translation>nicht freigegeben: {0}</translation>
    </message>
    <message>
        <source>not answered: {}</source>
        <translation>nicht beantwortet: {0}</translation>
    </message>
    <message>
        <source>said {:.0f} s after power was taken off, {:g} s are needed</source>
        <translation>gesagt {0} s nach dem Ausschalten, {1} s sind nötig</translation>
    </message>
    <message>
        <source>{} ({})</source>
        <translation>{0} ({1})</translation>
    </message>
    <message>
        <source>{} and {}</source>
        <translation>{0} und {1}</translation>
    </message>
    <message>
        <source>{:q} to {:q}</source>
        <translation>{0} bis {1}</translation>
    </message>
    <message>
        <source>below {:q}</source>
        <translation>unter {0}</translation>
    </message>
    <message>
        <source>above {:q}</source>
        <translation>über {0}</translation>
    </message>
    <message>
        <source>at least {}</source>
        <translation>min. {0}</translation>
    </message>
    <message>
        <source>at most {}</source>
        <translation>max. {0}</translation>
    </message>
    <message>
        <source>usually to {}</source>
        <translation>üblich bis {0}</translation>
    </message>
    <message>
        <source>job: {}</source>
        <translation>Auftrag: {0}</translation>
    </message>
    <message>
        <source>{} V ({}) and {} V ({})</source>
        <translation>{0} V ({1}) und {2} V ({3})</translation>
    </message>
    <message>
        <source>{}, power on</source>
        <translation>{0}, Strom an</translation>
    </message>
    <message>
        <source>{}, source only</source>
        <translation>{0}, nur Quelle</translation>
    </message>
    <message>
        <source>from source to {}</source>
        <translation>von der Quelle bis {0}</translation>
    </message>
    <message>
        <source>time left above {}</source>
        <translation>Zeit bis {0}</translation>
    </message>
    <message>
        <source>rises through {} at switch-on</source>
        <translation>Anstiege über {0} beim Einschalten</translation>
    </message>
    <message>
        <source>{}, with our {}</source>
        <translation>{0}, mit unseren {1}</translation>
    </message>
    <message>
        <source>{} without our computer</source>
        <translation>{0} ohne unseren Rechner</translation>
    </message>
    <message>
        <source>At rest {} is below {} ({}).</source>
        <translation>In Ruhe liegt {0} unter {1} ({2}).</translation>
    </message>
    <message>
        <source>The source held {} and went off by itself in one step, {:.1f} s after the module&apos;s power came on.</source>
        <translation>Die Quelle hielt {0} und ging in einem Schritt von selbst aus, {1} s nachdem das Modul Strom bekam.</translation>
    </message>
    <message>
        <source>The source went off by itself {} times, each time after {:.1f} to {:.1f} s.</source>
        <translation>Die Quelle ging {0}-mal von selbst aus, jedes Mal nach {1} bis {2} s.</translation>
    </message>
    <message>
        <source>The module&apos;s feed took {} at most: a pack may take that for no load.</source>
        <translation>Die Speisung des Moduls nahm höchstens {0}: ein Akkupack kann das für keine Last halten.</translation>
    </message>
    <message>
        <source>Watched for {:.0f} s; if it is a jump pack it may take one module for no load and go off after some {:.0f} s (from memory, decides nothing): `--for` sets how long to watch.</source>
        <translation>{0} s lang beobachtet; ein Starthilfespeicher kann ein einzelnes Modul für keine Last halten und nach etwa {1} s ausgehen (aus dem Gedächtnis, entscheidet nichts): `--for` sagt, wie lange beobachtet wird.</translation>
    </message>
    <message>
        <source>It sags by {:.2f} +/- {:.2f} V a minute: about {:.0f} +/- {:.0f} {} are left above {} (seen for {:.0f} s only).</source>
        <translation>Sie sinkt um {0} +/- {1} V je Minute: etwa {2} +/- {3} {4} bleiben bis {5} (nur {6} s lang gesehen).</translation>
    </message>
    <message>
        <source>The source reads {}: minus where plus should be.</source>
        <translation>Die Quelle zeigt {0}: Minus, wo Plus sein sollte.</translation>
    </message>
    <message>
        <source>The source gives {}.</source>
        <translation>Die Quelle gibt {0}.</translation>
    </message>
    <message>
        <source>Under load the source holds {}.</source>
        <translation>Unter Last hält die Quelle {0}.</translation>
    </message>
    <message>
        <source>At rest the source shows {}.</source>
        <translation>In Ruhe zeigt die Quelle {0}.</translation>
    </message>
    <message>
        <source>{} answered</source>
        <translation>{0} hat geantwortet</translation>
    </message>
    <message>
        <source>At switch-on the feed came {} times within {:.1f} s: each time the module may have started anew and counted one more ignition cycle (49 CFR 563.5).</source>
        <translation>Beim Einschalten kam die Speisung {0}-mal in {1} s: jedes Mal kann das Modul neu gestartet und einen Zündzyklus mehr gezählt haben (49 CFR 563.5).</translation>
    </message>
    <message>
        <source>Later it went away and came back {}.</source>
        <translation>Später fiel sie aus und kam wieder: {0}.</translation>
    </message>
    <message>
        <source>The meter looks every {:.2f} s{}: a gap of {:.0f} ms is seen in {:.0f} of 100 cases.</source>
        <translation>Das Messgerät schaut alle {0} s{1}: eine Lücke von {2} ms wird in {3} von 100 Fällen gesehen.</translation>
    </message>
    <message>
        <source> for {:.0f} ms</source>
        <translation> für {0} ms</translation>
    </message>
    <message>
        <source>Frames that had come regularly stopped for {:.2f} s and began again{}: their sender restarted, or slept.</source>
        <translation>Regelmäßige Rahmen blieben {0} s lang aus und begannen wieder{1}: ihr Sender ist neu gestartet oder hat geschlafen.</translation>
    </message>
    <message>
        <source>, the last of {} times</source>
        <translation>, zuletzt von {0}-mal</translation>
    </message>
    <message>
        <source>{:p} is {} with the power on.</source>
        <translation>{0} ist {1} bei eingeschaltetem Strom.</translation>
    </message>
    <message>
        <source>{:p} is {:q} with {}.</source>
        <translation>{0} ist {1} mit {2}.</translation>
    </message>
    <message>
        <source>{:p} is {:q}.</source>
        <translation>{0} ist {1}.</translation>
    </message>
    <message>
        <source>{:p} is only {}.</source>
        <translation>{0} ist nur {1}.</translation>
    </message>
    <message>
        <source>The clip has {}, the load blade nothing: the feed sits on the supply blade and the module&apos;s fuse is out.</source>
        <translation>Die Klemme hat {0}, der Lastkontakt nichts: die Speisung sitzt auf dem Zuleitungskontakt, und die Sicherung des Moduls ist heraus.</translation>
    </message>
    <message>
        <source>It draws {}, within the job&apos;s band.</source>
        <translation>Es zieht {0}, im Bereich des Auftrags.</translation>
    </message>
    <message>
        <source>It draws {}, not within the job&apos;s band.</source>
        <translation>Es zieht {0}, nicht im Bereich des Auftrags.</translation>
    </message>
    <message>
        <source>More than this module is fed: {}.</source>
        <translation>Mehr als dieses Modul ist gespeist: {0}.</translation>
    </message>
    <message>
        <source>It draws {}.</source>
        <translation>Es zieht {0}.</translation>
    </message>
    <message>
        <source>The dummy load shows {} in the path, at no power-up.</source>
        <translation>Die Ersatzlast zeigt {0} im Weg, ohne Einschaltung.</translation>
    </message>
    <message>
        <source>The load blade of the emptied slot is not dead: it fell from {} to {}: a reserve that empties, still alive.</source>
        <translation>Der Lastkontakt des leeren Platzes ist nicht spannungsfrei: er fiel von {0} auf {1}, eine Reserve, die sich leert und noch lebt.</translation>
    </message>
    <message>
        <source>The load blade of the emptied slot is not dead: it stands at {}: a second feed.</source>
        <translation>Der Lastkontakt des leeren Platzes ist nicht spannungsfrei: er steht auf {0}, eine zweite Speisung.</translation>
    </message>
    <message>
        <source>Our computer&apos;s way could carry all of the {} that flows: the ground is not proven.</source>
        <translation>Der Weg über unseren Rechner könnte die ganzen {0} tragen, die fließen: die Masse ist nicht bewiesen.</translation>
    </message>
    <message>
        <source>Our computer is tied to the source&apos;s minus: {} of {} may go through it.</source>
        <translation>Unser Rechner hängt am Minus der Quelle: {0} von {1} können über ihn fließen.</translation>
    </message>
    <message>
        <source>With current flowing the ground loses {}.</source>
        <translation>Bei fließendem Strom fallen an der Masse {0} ab.</translation>
    </message>
    <message>
        <source>Pins 4 and 5 differ by {}.</source>
        <translation>Pin 4 und 5 unterscheiden sich um {0}.</translation>
    </message>
    <message>
        <source>The interface&apos;s minus is within {} of pin 4.</source>
        <translation>Das Minus des Interfaces weicht höchstens {0} von Pin 4 ab.</translation>
    </message>
    <message>
        <source>The interface&apos;s minus lies {} off pin 4: its source and the module&apos;s have no ground in common{}.</source>
        <translation>Das Minus des Interfaces liegt {0} neben Pin 4: seine Quelle und die des Moduls haben keine gemeinsame Masse{1}.</translation>
    </message>
    <message>
        <source>Pin 16 has {} too; keep module and interface on one source.</source>
        <translation>Auch Pin 16 hat {0}; Modul und Interface an einer Quelle lassen.</translation>
    </message>
    <message>
        <source>{} at pin 16 is expected: the source feeds the module&apos;s slot, not the connector.</source>
        <translation>{0} an Pin 16 sind zu erwarten: die Quelle speist den Platz des Moduls, nicht die Buchse.</translation>
    </message>
    <message>
        <source>{} at pin 16 is neither dead nor a supply.</source>
        <translation>{0} an Pin 16 sind weder spannungsfrei noch eine Versorgung.</translation>
    </message>
    <message>
        <source>The interface gets {}.</source>
        <translation>Das Interface bekommt {0}.</translation>
    </message>
    <message>
        <source>With our {} it is {}.</source>
        <translation>Mit unseren {0} sind es {1}.</translation>
    </message>
    <message>
        <source>{} between the wires: two terminations.</source>
        <translation>{0} zwischen den Leitungen: zwei Abschlusswiderstände.</translation>
    </message>
    <message>
        <source>{} between the wires: {}.</source>
        <translation>{0} zwischen den Leitungen: {1}.</translation>
    </message>
    <message>
        <source>{} frames were lost and are not judged.</source>
        <translation>{0} Rahmen gingen verloren und sind nicht bewertet.</translation>
    </message>
    <message>
        <source>{} times nothing could be seen for a while.</source>
        <translation>{0}-mal war eine Weile nichts zu sehen.</translation>
    </message>
    <message>
        <source>{} of {:d} identifier.</source>
        <translation>{0} von {1} Kennung.</translation>
    </message>
    <message>
        <source>{} of {:d} identifiers.</source>
        <translation>{0} von {1} Kennungen.</translation>
    </message>
    <message>
        <source>{:d} frame</source>
        <translation>{0} Rahmen</translation>
    </message>
    <message>
        <source>{:d} frames</source>
        <translation>{0} Rahmen</translation>
    </message>
    <message>
        <source>{:d} error frame</source>
        <translation>{0} Fehlerrahmen</translation>
    </message>
    <message>
        <source>{:d} error frames</source>
        <translation>{0} Fehlerrahmen</translation>
    </message>
    <message>
        <source>{:d} answer</source>
        <translation>{0} Antwort</translation>
    </message>
    <message>
        <source>{:d} answers</source>
        <translation>{0} Antworten</translation>
    </message>
    <message>
        <source>{:d} request</source>
        <translation>{0} Anfrage</translation>
    </message>
    <message>
        <source>{:d} requests</source>
        <translation>{0} Anfragen</translation>
    </message>
    <message>
        <source>{:d} time</source>
        <translation>{0}-mal</translation>
    </message>
    <message>
        <source>{:d} times</source>
        <translation>{0}-mal</translation>
    </message>
    <message>
        <source>{} and no valid frame.</source>
        <translation>{0} und kein gültiger Rahmen.</translation>
    </message>
    <message>
        <source>{} among them.</source>
        <translation>{0} darunter.</translation>
    </message>
    <message>
        <source>One node sends, nobody acknowledges it{}: it is alone on these wires.</source>
        <translation>Ein Teilnehmer sendet, niemand bestätigt ihn{0}: er ist allein an diesen Leitungen.</translation>
    </message>
    <message>
        <source>Our controller is {}, only acknowledges were missing: our bits came back whole, so it is no short and no wrong wire between the two.</source>
        <translation>Unser Controller ist {0}, nur Bestätigungen fehlten: unsere Bits kamen ganz zurück, also kein Kurzschluss und keine falsche Leitung zwischen den beiden.</translation>
    </message>
    <message>
        <source>No frame in {:.0f} s.</source>
        <translation>Kein Rahmen in {0} s.</translation>
    </message>
    <message>
        <source>{} is silent until a tester asks.</source>
        <translation>{0} ist still, bis ein Tester fragt.</translation>
    </message>
    <message>
        <source>{} on it.</source>
        <translation>{0} darauf.</translation>
    </message>
    <message>
        <source>{} answered: that proves {}, not the job&apos;s module.</source>
        <translation>{0} hat geantwortet: das beweist {1}, nicht das Modul des Auftrags.</translation>
    </message>
    <message>
        <source>{} came after we had stopped waiting: see timing.</source>
        <translation>{0} nach dem Ende unserer Wartezeit: siehe Zeiten.</translation>
    </message>
    <message>
        <source>The job&apos;s module did not answer {}.</source>
        <translation>Das Modul des Auftrags hat {0} nicht beantwortet.</translation>
    </message>
    <message>
        <source>The job&apos;s module answers and refuses (code {:02X}): it lives, the wiring is good.</source>
        <translation>Das Modul des Auftrags antwortet und lehnt ab (Code {0}): es lebt, die Verdrahtung ist gut.</translation>
    </message>
    <message>
        <source>The job&apos;s module answered {} of {:d} request.</source>
        <translation>Das Modul des Auftrags hat {0} von {1} Anfrage beantwortet.</translation>
    </message>
    <message>
        <source>The job&apos;s module answered {} of {:d} requests.</source>
        <translation>Das Modul des Auftrags hat {0} von {1} Anfragen beantwortet.</translation>
    </message>
    <message>
        <source>The job&apos;s module answered {} of {:d} request, {} of them by refusing.</source>
        <translation>Das Modul des Auftrags hat {0} von {1} Anfrage beantwortet, {2} davon mit Ablehnung.</translation>
    </message>
    <message>
        <source>The job&apos;s module answered {} of {:d} requests, {} of them by refusing.</source>
        <translation>Das Modul des Auftrags hat {0} von {1} Anfragen beantwortet, {2} davon mit Ablehnung.</translation>
    </message>
    <message>
        <source>The module&apos;s address on {} is not known: a roll call shows who answers, and module.line_address in the job says which one it is.</source>
        <translation>Die Adresse des Moduls auf {0} ist nicht bekannt: ein Rundruf zeigt, wer antwortet, und module.line_address im Auftrag sagt, welche es ist.</translation>
    </message>
    <message>
        <source>The request was not let out: {}.</source>
        <translation>Die Anfrage wurde nicht hinausgelassen: {0}.</translation>
    </message>
    <message>
        <source>On {} only everybody can be asked, and the job&apos;s module did not answer: many do not, so that is no proof of absence.</source>
        <translation>Auf {0} lassen sich nur alle fragen, und das Modul des Auftrags hat nicht geantwortet: viele tun das nicht, es beweist also kein Fehlen.</translation>
    </message>
    <message>
        <source>An answer came {} after the request; a client that waits {} takes the module for silent.</source>
        <translation>Eine Antwort kam {0} nach der Anfrage; ein Tester, der {1} wartet, hält das Modul für stumm.</translation>
    </message>
    <message>
        <source>{}, median {}, longest {}; no limit for {} is known.</source>
        <translation>{0}, Median {1}, längste {2}; eine Grenze für {3} ist nicht bekannt.</translation>
    </message>
    <message>
        <source>{}, median {}, longest {}.</source>
        <translation>{0}, Median {1}, längste {2}.</translation>
    </message>
    <message>
        <source>It said &quot;pending&quot; {} times, which allows it {} more each.</source>
        <translation>Es meldete {0}-mal „pending“, was ihm jedes Mal {1} mehr gibt.</translation>
    </message>
    <message>
        <source>{} came later than the limit in force.</source>
        <translation>{0} kamen später als die geltende Grenze.</translation>
    </message>
    <message>
        <source>For it: {}</source>
        <translation>Dafür: {0}</translation>
    </message>
    <message>
        <source>For it: {}, which say the same</source>
        <translation>Dafür: {0}, die dasselbe sagen</translation>
    </message>
    <message>
        <source>against it: {}</source>
        <translation>dagegen: {0}</translation>
    </message>
    <message>
        <source>{} (it would be {})</source>
        <translation>{0} (zu erwarten: {1})</translation>
    </message>
    <message>
        <source>This job&apos;s ledger has 1 power-up, the last at {}.</source>
        <translation>Bisher 1 Einschaltung in diesem Auftrag, die letzte um {0}.</translation>
    </message>
    <message>
        <source>This job&apos;s ledger has {} power-ups, the last at {}.</source>
        <translation>Bisher {0} Einschaltungen in diesem Auftrag, die letzte um {1}.</translation>
    </message>
    <message>
        <source>The budget of {} is used up: agree on another way, or on a new budget, first.</source>
        <translation>Das Budget von {0} ist verbraucht: zuerst einen anderen Weg oder ein neues Budget vereinbaren.</translation>
    </message>
    <message>
        <source>This one would be {} of {}.</source>
        <translation>Diese wäre Nummer {0} von {1}.</translation>
    </message>
    <message>
        <source>Were all supplies off for {:g} s{} before anything was joined or unjoined?</source>
        <translation>Waren alle Speisungen {0} s lang aus{1}, bevor etwas verbunden oder getrennt wurde?</translation>
    </message>
    <message>
        <source> ({})</source>
        <translation> ({0})</translation>
    </message>
    <message>
        <source>Its pins, as the job has them: {}.</source>
        <translation>Seine Kontakte laut Auftrag: {0}.</translation>
    </message>
    <message>
        <source>a link is up, {:g} s without an error frame or another tester&apos;s request</source>
        <translation>ein Link ist oben, {0} s ohne Fehlerrahmen und ohne Anfrage eines anderen Diagnosegeräts</translation>
    </message>
    <message>
        <source>Listened for {:.0f} s: no error frame, nobody asked.</source>
        <translation>{0} s gelauscht: kein Fehlerrahmen, niemand hat gefragt.</translation>
    </message>
    <message>
        <source>fuse {:g} A</source>
        <translation>Sicherung {0} A</translation>
    </message>
    <message>
        <source>lead {:g} m, {:g} mm²</source>
        <translation>Leitung {0} m, {1} mm²</translation>
    </message>
    <message>
        <source>{} {:.1f} V, lowest {:.1f} V</source>
        <translation>{0} {1} V, tiefster Wert {2} V</translation>
    </message>
    <message>
        <source>stop rule of this job: {} attempts in a row ended `{}`.</source>
        <translation>Stoppregel dieses Auftrags: {0} Versuche nacheinander endeten mit „{1}“.</translation>
    </message>
    <message>
        <source>own figure: {}</source>
        <translation>eigener Wert: {0}</translation>
    </message>
    <message>
        <source>own figure, {}</source>
        <translation>eigener Wert, {0}</translation>
    </message>
    <message>
        <source>{}, supply code C</source>
        <translation>{0}, Versorgungscode C</translation>
    </message>
    <message>
        <source>{}, supply code H</source>
        <translation>{0}, Versorgungscode H</translation>
    </message>
    <message>
        <source>{:p}, {}</source>
        <translation>{0}, {1}</translation>
    </message>
    <message>
        <source>{}, supply code C taken for the interface</source>
        <translation>{0}, Versorgungscode C für das Interface angenommen</translation>
    </message>
    <message>
        <source>{}, 0 % charge</source>
        <translation>{0}, 0 % Ladung</translation>
    </message>
    <message>
        <source>{}, 25 % charge</source>
        <translation>{0}, 25 % Ladung</translation>
    </message>
    <message>
        <source>{}, any circuit, total</source>
        <translation>{0}, jeder Stromkreis, gesamt</translation>
    </message>
    <message>
        <source>1.0 V total drop ({}) at the 1.26 A of a 10 ohm dummy load on 12.6 V</source>
        <translation>1.0 V Abfall gesamt ({0}) bei den 1.26 A einer Ersatzlast von 10 ohm an 12.6 V</translation>
    </message>
    <message>
        <source>CAN transceiver data sheet SLLSF80B, driver table (ISO 11898-2), {}</source>
        <translation>Datenblatt eines CAN-Transceivers SLLSF80B, Treibertabelle (ISO 11898-2), {0}</translation>
    </message>
    <message>
        <source>40 ohm ({}) less 10 %</source>
        <translation>40 ohm ({0}) minus 10 %</translation>
    </message>
    <message>
        <source>40 ohm ({}) plus 10 %</source>
        <translation>40 ohm ({0}) plus 10 %</translation>
    </message>
    <message>
        <source>120 ohm ({}) less 10 %</source>
        <translation>120 ohm ({0}) minus 10 %</translation>
    </message>
    <message>
        <source>120 ohm ({}) plus 10 %</source>
        <translation>120 ohm ({0}) plus 10 %</translation>
    </message>
    <message>
        <source>another node on this bus sends with {}</source>
        <translation>ein anderer Teilnehmer an diesem Bus sendet mit {0}</translation>
    </message>
    <message>
        <source>the gate is shut: {}</source>
        <translation>das Tor ist zu: {0}</translation>
    </message>
    <message>
        <source>the gate is shut on this link: {}</source>
        <translation>das Tor ist auf diesem Link zu: {0}</translation>
    </message>
    <message>
        <source>{} error frames within {} ms of our sending</source>
        <translation>{0} Fehlerrahmen binnen {1} ms nach unserem Senden</translation>
    </message>
    <message>
        <source>another tester sent on {} less than {} s ago</source>
        <translation>ein anderes Diagnosegerät sendete auf {0} vor weniger als {1} s</translation>
    </message>
    <message>
        <source>Pin16 would take more than {:.3g} % of this bus within a second</source>
        <translation>Pin16 nähme in einer Sekunde mehr als {0} % dieses Busses</translation>
    </message>
    <message>
        <source>nobody named {} for this link: the first contact wakes modules</source>
        <translation>niemand hat {0} für diesen Link genannt: der erste Kontakt weckt Module</translation>
    </message>
</context>
</TS>
