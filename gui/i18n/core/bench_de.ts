<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE TS>
<TS version="2.1" language="de_DE">
<context>
    <name>core</name>
    <message>
        <source>The other program finds other modules in the vehicle, but not this one.</source>
        <translation>Das andere Programm findet andere Module im Fahrzeug, dieses nicht.</translation>
    </message>
    <message>
        <source>The interface stays dark when it is plugged in; the other program finds nothing.</source>
        <translation>Das Interface bleibt beim Einstecken dunkel; das andere Programm findet nichts.</translation>
    </message>
    <message>
        <source>Hooked up, pin 16 is fed, not tried yet: is it ready?</source>
        <translation>Angeschlossen, Pin 16 ist gespeist, noch nichts versucht: Ist es bereit?</translation>
    </message>
    <message>
        <source>The interface is lit and nothing is heard at the connector; the other program finds nothing.</source>
        <translation>Das Interface leuchtet, an der Buchse ist nichts zu hören; das andere Programm findet nichts.</translation>
    </message>
    <message>
        <source>Hooked up, nothing is heard at the connector, not tried yet: is it ready?</source>
        <translation>Angeschlossen, an der Buchse ist nichts zu hören, noch nichts versucht: Ist es bereit?</translation>
    </message>
    <message>
        <source>Nothing is heard at the connector; the other program reports an error of the bus.</source>
        <translation>An der Buchse ist nichts zu hören; das andere Programm meldet einen Fehler des Busses.</translation>
    </message>
    <message>
        <source>The read-out begins and breaks off with a timeout.</source>
        <translation>Das Auslesen beginnt und bricht mit Zeitüberschreitung ab.</translation>
    </message>
    <message>
        <source>The module draws current; the other program finds nothing.</source>
        <translation>Das Modul nimmt Strom auf; das andere Programm findet nichts.</translation>
    </message>
    <message>
        <source>Plugged in, not tried yet: is it ready?</source>
        <translation>Eingesteckt, noch nichts versucht: Ist es bereit?</translation>
    </message>
    <message>
        <source>It comes up, and a moment later everything is dark again.</source>
        <translation>Es läuft an, und einen Augenblick später ist alles wieder dunkel.</translation>
    </message>
    <message>
        <source>Hooked up, nothing at pin 16, not tried yet: is it ready?</source>
        <translation>Angeschlossen, nichts an Pin 16, noch nichts versucht: Ist es bereit?</translation>
    </message>
    <message>
        <source>Just plugged in, and all came up: may the read-out begin?</source>
        <translation>Gerade eingesteckt, und alles lief an: Darf das Auslesen beginnen?</translation>
    </message>
    <message>
        <source>The other program finds the module at times, at times not.</source>
        <translation>Das andere Programm findet das Modul manchmal, manchmal nicht.</translation>
    </message>
    <message>
        <source>The module draws current; the other program reports an error of the bus.</source>
        <translation>Das Modul nimmt Strom auf; das andere Programm meldet einen Fehler des Busses.</translation>
    </message>
    <message>
        <source>The module draws current; before anything else is joined our adapter shows errors only.</source>
        <translation>Das Modul nimmt Strom auf; bevor sonst etwas angeschlossen ist, zeigt unser Adapter nur Fehler.</translation>
    </message>
    <message>
        <source>Hooked up on the table, not tried yet: is it ready?</source>
        <translation>Auf dem Tisch angeschlossen, noch nichts versucht: Ist es bereit?</translation>
    </message>
    <message>
        <source>The first read-out broke off half way; the volts looked good.</source>
        <translation>Das erste Auslesen brach auf halbem Weg ab; die Spannung sah gut aus.</translation>
    </message>
    <message>
        <source>Fed at the slot, nothing in the vehicle lights up, the module answers: is it ready?</source>
        <translation>Am Steckplatz gespeist, im Fahrzeug geht kein Licht an, das Modul antwortet: Ist es bereit?</translation>
    </message>
    <message>
        <source>Fed at the slot, and the lights of the dash come on.</source>
        <translation>Am Steckplatz gespeist, und die Lichter des Armaturenbretts gehen an.</translation>
    </message>
    <message>
        <source>Fed at the slot, all stays dark; the other program finds nothing.</source>
        <translation>Am Steckplatz gespeist, alles bleibt dunkel; das andere Programm findet nichts.</translation>
    </message>
    <message>
        <source>Fed at the slot, the lights of the dash come on; the other program finds nothing.</source>
        <translation>Am Steckplatz gespeist, die Lichter des Armaturenbretts gehen an; das andere Programm findet nichts.</translation>
    </message>
    <message>
        <source>The module answers on the short leads here; on the long ones it did not.</source>
        <translation>Das Modul antwortet hier an kurzen Leitungen; an den langen tat es das nicht.</translation>
    </message>
    <message>
        <source>The interface is lit and the module draws current; the other program finds nothing.</source>
        <translation>Das Interface leuchtet, das Modul nimmt Strom auf; das andere Programm findet nichts.</translation>
    </message>
</context>
</TS>
