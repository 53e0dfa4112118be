// The serial port, both ways by interrupts. BENCHD_BAUD is 250000 or 115200.
#ifndef BENCHD_SERIAL_H
#define BENCHD_SERIAL_H

void serial_init();

// Bytes wait to be sent.
void serial_send();

#endif
