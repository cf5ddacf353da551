//! How the ids and bare values of `facts`, which knows nothing of HTTP, are described: as the text or number they are sent
//! as. What has more to it stands in `src/twins`.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let texts = "ClampId CureId InstrumentId JobId JointId LotId MaterialId MixId Note ObservationId PlanId PlateId \
                 SensorId StepId VersionId ZoneId";
    let config = texts.split_whitespace().fold(utoipa_config::Config::new(), |all, id| all.alias_for(id, "String"));
    let config = config.alias_for("TempC", "f64").alias_for("RhPct", "f64");
    config.alias_for("PathBuf", "String").write_to_file();
}
