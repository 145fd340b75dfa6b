// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo;

import de.siegmar.fastcsv.reader.CsvReader;
import de.siegmar.fastcsv.reader.NamedCsvRecord;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.r4.model.DateType;
import org.hl7.fhir.r4.model.Enumerations.AdministrativeGender;
import org.hl7.fhir.r4.model.Patient;

/** The invented patients of Alder Vale. */
public final class DemoPatients {
  private DemoPatients() {}

  public static List<Patient> read(Path csv) {
    List<Patient> patients = new ArrayList<>();
    try (CsvReader<NamedCsvRecord> rows =
        CsvReader.builder().ofNamedCsvRecord(Files.readString(csv))) {
      for (NamedCsvRecord row : rows) {
        Patient patient = new Patient();
        patient.addIdentifier().setSystem(row.getField("system")).setValue(row.getField("number"));
        patient.addName().setFamily(row.getField("family")).addGiven(row.getField("given"));
        patient.setBirthDateElement(new DateType(row.getField("birthDate")));
        patient.setGender(AdministrativeGender.fromCode(row.getField("sex")));
        patients.add(patient);
      }
      return patients;
    } catch (IOException e) {
      throw new CisternException("The sample patients cannot be read.", e);
    }
  }
}
